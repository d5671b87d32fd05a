//! One-time codes by the clock (RFC 6238): six digits every 30 s, from a secret that the person's own device keeps too.

use crate::clock::{Clock, NoSecret};
use data_encoding::BASE32_NOPAD;
use shared_types::Instant;
use totp_rs::{Builder, Secret, Totp};

/// A new secret of 160 bits (RFC 4226, section 4, R6), as people type it.
pub(crate) fn new_secret(clock: &dyn Clock) -> Result<String, NoSecret> {
    let bytes = clock.secret()?;
    Ok(BASE32_NOPAD.encode(bytes.first_chunk::<20>().unwrap_or(&[0; 20])))
}

/// The time step that this code is of: the one of now, the one before or the one after, and later than the last one used.
pub(crate) fn step_of(secret: &str, code: &str, now: Instant, last: Option<u64>) -> Option<u64> {
    let code: String = code.chars().filter(|c| !c.is_whitespace()).collect();
    if code.len() != 6 || !code.bytes().all(|byte| byte.is_ascii_digit()) {
        return None;
    }
    let seconds = u64::try_from(now.0.div_euclid(1_000)).ok()?;
    reader(secret)?.check(&code, seconds).filter(|step| last.is_none_or(|last| last < *step))
}

/// The code at a time, as the person's device shows it.
#[cfg(test)]
pub(crate) fn at(secret: &str, now: Instant) -> String {
    reader(secret).unwrap().generate(u64::try_from(now.0 / 1_000).unwrap()).to_string()
}

fn reader(secret: &str) -> Option<Totp> {
    Builder::new().with_secret(Secret::try_from_base32(secret).ok()?).build().ok()
}

/// The address that hands a secret over to the person's device.
pub(crate) fn address(secret: &str, badge: &str) -> String {
    let badge: String = badge
        .bytes()
        .map(|byte| {
            if byte.is_ascii_alphanumeric() || byte == b'-' {
                char::from(byte).to_string()
            } else {
                format!("%{byte:02X}")
            }
        })
        .collect();
    format!("otpauth://totp/Rimebook:{badge}?secret={secret}&issuer=Rimebook&algorithm=SHA1&digits=6&period=30")
}

#[cfg(test)]
mod tests {
    use super::*;
    use totp_rs::Algorithm;

    /// RFC 6238, appendix B: the secret of SHA-1, times in seconds and their codes of eight digits.
    const SECRET: &[u8] = b"12345678901234567890";
    const TIMES: [(u64, &str); 6] = [
        (59, "94287082"),
        (1_111_111_109, "07081804"),
        (1_111_111_111, "14050471"),
        (1_234_567_890, "89005924"),
        (2_000_000_000, "69279037"),
        (20_000_000_000, "65353130"),
    ];

    #[test]
    fn codes_are_those_of_the_standard() {
        let secret = BASE32_NOPAD.encode(SECRET);
        let eight = Builder::new()
            .with_algorithm(Algorithm::SHA1)
            .with_digits(8)
            .with_secret(Secret::try_from_base32(&secret).unwrap())
            .build()
            .unwrap();
        for (seconds, code) in TIMES {
            assert_eq!(eight.generate(seconds).to_string(), code);
            // Six digits are the last six of eight (RFC 4226, section 5.3).
            let now = Instant(i64::try_from(seconds).unwrap() * 1_000);
            assert_eq!(step_of(&secret, &code[2..], now, None), Some(seconds / 30), "{seconds}");
        }
    }

    #[test]
    fn a_code_is_taken_once_and_one_step_beside_its_time() {
        let secret = BASE32_NOPAD.encode(SECRET);
        let (now, code) = (Instant(1_111_111_111_000), "050471");
        let step = step_of(&secret, code, now, None).unwrap();
        assert_eq!(step_of(&secret, code, now.plus_ms(30_000), None), Some(step));
        assert_eq!(step_of(&secret, code, now.plus_ms(-30_000), None), Some(step));
        assert_eq!(step_of(&secret, code, now.plus_ms(90_000), None), None);
        assert_eq!(step_of(&secret, code, now, Some(step)), None);
        assert_eq!(step_of(&secret, "050 471", now, Some(step - 1)), Some(step));
        for wrong in ["050472", "", "05047", "0504711", "O50471"] {
            assert_eq!(step_of(&secret, wrong, now, None), None, "{wrong}");
        }
    }

    #[test]
    fn the_address_holds_the_secret_and_nothing_that_would_break_it() {
        assert_eq!(
            address("JBSWY3DPEHPK3PXP", "A 1&x"),
            "otpauth://totp/Rimebook:A%201%26x?secret=JBSWY3DPEHPK3PXP&issuer=Rimebook&algorithm=SHA1&digits=6&period=30"
        );
    }
}
