//! The yard's own authority: a key that vouches for the yard's hosts and, by what is written into its certificate, for
//! nothing else. Devices are told to believe it once; server certificates made with it come and go.

use std::{io, path::Path};

use chrono::{DateTime, Datelike, TimeDelta, Utc};
use rcgen::{
    BasicConstraints, CertificateParams, CidrSubnet, DnType, ExtendedKeyUsagePurpose, GeneralSubtree, IsCa, Issuer,
    KeyPair, KeyUsagePurpose, NameConstraints,
};
use rustls::pki_types::{CertificateDer, pem::PemObject};
use sha2::{Digest, Sha256};
use shared_types::Instant;
use x509_parser::{
    extensions::{GeneralName, ParsedExtension},
    prelude::{FromDer, X509Certificate},
};

use super::host::Host;
use crate::private;

pub(crate) const AUTHORITY: &str = "authority.pem";
/// Never in a backup: whoever has it can pass for the yard's server.
pub(crate) const AUTHORITY_KEY: &str = "authority.key";
pub(crate) const CERTIFICATE: &str = "server.pem";
pub(crate) const CERTIFICATE_KEY: &str = "server.key";

/// An authority is told to every device by hand, so it lasts.
const AUTHORITY_DAYS: i64 = 3_650;
/// What browsers take at most of a certificate from any authority is longer still; a year and a month is renewed yearly.
const CERTIFICATE_DAYS: i64 = 397;

/// Names and addresses that are the server's own machine, whatever it is called.
const OWN: [&str; 3] = ["localhost", "127.0.0.1", "::1"];

/// Private addresses (RFC 1918, RFC 4193), link-local ones (RFC 4291) and the machine itself.
const PRIVATE: [(&str, u8); 7] = [
    ("10.0.0.0", 8),
    ("172.16.0.0", 12),
    ("192.168.0.0", 16),
    ("127.0.0.0", 8),
    ("fc00::", 7),
    ("fe80::", 10),
    ("::1", 128),
];

/// What was made.
#[derive(Debug)]
pub(crate) struct Certified {
    /// Of the authority, SHA-256.
    pub(crate) fingerprint: String,
    pub(crate) is_new: bool,
    pub(crate) hosts: Vec<String>,
    pub(crate) ends: Instant,
}

#[derive(Debug, thiserror::Error)]
pub(crate) enum CertifyError {
    #[error("{0} can't be read or written")]
    Io(&'static str, #[source] io::Error),
    #[error(
        "{AUTHORITY_KEY} or {AUTHORITY} in people/ is none, or one of them is missing: restore both, or take both away and tell every device of a new authority"
    )]
    NoAuthority,
    #[error(
        "the authority vouches for {}, and not for {host}: it was made for those names alone. With --new-authority a new one \
         is made, and every device has to be told of it", .vouches.join(", ")
    )]
    NotVouched { host: String, vouches: Vec<String> },
    #[error("the authority has ended. With --new-authority a new one is made, and every device has to be told of it")]
    Ended,
    #[error("the certificate can't be made: {0}")]
    Unmade(#[from] rcgen::Error),
}

/// Makes a certificate for these hosts, and the authority behind it where there is none, or a new one is wanted.
pub(crate) fn certify(
    data: &Path,
    hosts: &[Host],
    new_authority: bool,
    now: Instant,
) -> Result<Certified, CertifyError> {
    let people = data.join("people");
    let read = |name: &'static str| private::read(&people.join(name)).map_err(|error| CertifyError::Io(name, error));
    let write = |name: &'static str, text: &str| {
        private::replace(&people.join(name), text.as_bytes()).map_err(|error| CertifyError::Io(name, error))
    };
    let found = match new_authority {
        true => None,
        false => match (read(AUTHORITY_KEY)?, read(AUTHORITY)?) {
            (None, None) => None,
            (Some(key), Some(pem)) => Some((text(key)?, text(pem)?)),
            _ => return Err(CertifyError::NoAuthority),
        },
    };
    let is_new = found.is_none();
    let (key, pem) = match found {
        Some(found) => found,
        None => {
            let (key, pem) = authority(hosts, now)?;
            write(AUTHORITY_KEY, &key)?;
            write(AUTHORITY, &pem)?;
            (key, pem)
        }
    };
    vouches(&pem, hosts)?;
    let issuer = Issuer::from_ca_cert_pem(&pem, KeyPair::from_pem(&key).map_err(|_| CertifyError::NoAuthority)?)
        .map_err(|_| CertifyError::NoAuthority)?;
    let mut names: Vec<String> = hosts.iter().map(Host::to_string).collect();
    names.extend(
        OWN.iter()
            .filter(|own| !names.iter().any(|name| name == *own))
            .map(|own| (*own).to_owned())
            .collect::<Vec<_>>(),
    );
    let mut params = CertificateParams::new(names.clone())?;
    let first = names.first().cloned().unwrap_or_default();
    params.distinguished_name = rcgen::DistinguishedName::new();
    params.distinguished_name.push(DnType::CommonName, first);
    params.key_usages = vec![KeyUsagePurpose::DigitalSignature];
    params.extended_key_usages = vec![ExtendedKeyUsagePurpose::ServerAuth];
    params.use_authority_key_identifier_extension = true;
    let ends = lasts(&mut params, now, CERTIFICATE_DAYS.min(days_left(&pem, now)?));
    let own = KeyPair::generate()?;
    let made = params.signed_by(&own, &issuer)?;
    // The key first: a server that reads in between finds a pair that does not fit, keeps the old one, and looks again.
    write(CERTIFICATE_KEY, &own.serialize_pem())?;
    write(CERTIFICATE, &format!("{}{pem}", made.pem()))?;
    let fingerprint = fingerprint(&pem).ok_or(CertifyError::NoAuthority)?;
    Ok(Certified { fingerprint, is_new, hosts: names, ends })
}

/// SHA-256 of the first certificate in the text, as people compare it: in groups of four digits.
pub(crate) fn fingerprint(pem: &str) -> Option<String> {
    let der = CertificateDer::from_pem_slice(pem.as_bytes()).ok()?;
    let hash: Vec<String> = Sha256::digest(&der).chunks(2).map(hex).collect();
    Some(hash.join(" "))
}

fn hex(bytes: &[u8]) -> String {
    bytes.iter().map(|byte| format!("{byte:02X}")).collect()
}

/// A key and its certificate, in PEM.
fn authority(hosts: &[Host], now: Instant) -> Result<(String, String), CertifyError> {
    let mut params = CertificateParams::default();
    let names = hosts.iter().filter_map(|host| match host {
        Host::Name(name) => Some(name.clone()),
        Host::Address(_) => None,
    });
    let names: Vec<String> = names.chain([OWN.map(str::to_owned)].into_iter().flatten().take(1)).collect();
    let first = hosts.first().map(Host::to_string).unwrap_or_default();
    params.distinguished_name = rcgen::DistinguishedName::new();
    params.distinguished_name.push(DnType::CommonName, format!("Rimebook authority of {first}"));
    params.is_ca = IsCa::Ca(BasicConstraints::Constrained(0));
    params.key_usages = vec![KeyUsagePurpose::KeyCertSign, KeyUsagePurpose::CrlSign];
    let addresses = PRIVATE.iter().filter_map(|(address, bits)| {
        Some(GeneralSubtree::IpAddress(CidrSubnet::from_addr_prefix(address.parse().ok()?, *bits)))
    });
    params.name_constraints = Some(NameConstraints {
        permitted_subtrees: names.into_iter().map(GeneralSubtree::DnsName).chain(addresses).collect(),
        excluded_subtrees: Vec::new(),
    });
    lasts(&mut params, now, AUTHORITY_DAYS);
    let key = KeyPair::generate()?;
    let made = params.self_signed(&key)?;
    Ok((key.serialize_pem(), made.pem()))
}

/// Whole days, from yesterday on: clocks of handhelds are behind, too.
fn lasts(params: &mut CertificateParams, now: Instant, days: i64) -> Instant {
    let today = DateTime::<Utc>::from_timestamp_millis(now.0).unwrap_or_default();
    let day = |days: i64| today.checked_add_signed(TimeDelta::days(days)).unwrap_or(today).date_naive();
    let as_date = |day: chrono::NaiveDate| {
        rcgen::date_time_ymd(day.year(), u8::try_from(day.month()).unwrap_or(1), u8::try_from(day.day()).unwrap_or(1))
    };
    (params.not_before, params.not_after) = (as_date(day(-1)), as_date(day(days)));
    Instant(day(days).and_time(chrono::NaiveTime::MIN).and_utc().timestamp_millis())
}

/// So many whole days the authority is still believed: nothing that it vouches for is believed for longer.
fn days_left(pem: &str, now: Instant) -> Result<i64, CertifyError> {
    let der = CertificateDer::from_pem_slice(pem.as_bytes()).map_err(|_| CertifyError::NoAuthority)?;
    let (_, read) = X509Certificate::from_der(&der).map_err(|_| CertifyError::NoAuthority)?;
    let left_ms = read.validity().not_after.timestamp().saturating_mul(1_000).saturating_sub(now.0);
    if left_ms <= 0 { Err(CertifyError::Ended) } else { Ok(left_ms / (24 * 60 * 60 * 1_000)) }
}

/// Whether the authority may vouch for all of these.
fn vouches(pem: &str, hosts: &[Host]) -> Result<(), CertifyError> {
    let der = CertificateDer::from_pem_slice(pem.as_bytes()).map_err(|_| CertifyError::NoAuthority)?;
    let (_, read) = X509Certificate::from_der(&der).map_err(|_| CertifyError::NoAuthority)?;
    let mut vouches = Vec::new();
    for extension in read.extensions() {
        if let ParsedExtension::NameConstraints(constraints) = extension.parsed_extension() {
            let names = constraints.permitted_subtrees.iter().flatten().filter_map(|tree| match &tree.base {
                GeneralName::DNSName(name) => Some((*name).to_owned()),
                _ => None,
            });
            vouches.extend(names);
        }
    }
    let is_vouched = |name: &str| {
        vouches.iter().any(|own| own == name || name.strip_suffix(own.as_str()).is_some_and(|rest| rest.ends_with('.')))
    };
    let missing = hosts.iter().find_map(|host| match host {
        Host::Name(name) if !is_vouched(name) => Some(name.clone()),
        _ => None,
    });
    match missing {
        Some(host) => Err(CertifyError::NotVouched { host, vouches }),
        None => Ok(()),
    }
}

fn text(bytes: Vec<u8>) -> Result<String, CertifyError> {
    String::from_utf8(bytes).map_err(|_| CertifyError::NoAuthority)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::{testing::START, tls::provider};
    use rustls::{
        RootCertStore,
        client::{WebPkiServerVerifier, danger::ServerCertVerifier},
        pki_types::{ServerName, UnixTime},
    };
    use std::{fs, sync::Arc, time::Duration};

    fn hosts(names: &[&str]) -> Vec<Host> {
        names.iter().map(|name| name.parse().unwrap()).collect()
    }

    /// Whether somebody who believes the authority believes this certificate, as rustls judges it.
    fn is_believed(authority: &str, certificate: &str, name: &str, days_later: i64) -> bool {
        let mut roots = RootCertStore::empty();
        roots.add(CertificateDer::from_pem_slice(authority.as_bytes()).unwrap()).unwrap();
        let verifier = WebPkiServerVerifier::builder_with_provider(Arc::new(roots), provider()).build().unwrap();
        let seconds = START.plus_ms(days_later * 24 * 60 * 60 * 1_000).0 / 1_000;
        let now = UnixTime::since_unix_epoch(Duration::from_secs(seconds.cast_unsigned()));
        let certificate = CertificateDer::from_pem_slice(certificate.as_bytes()).unwrap();
        verifier
            .verify_server_cert(&certificate, &[], &ServerName::try_from(name.to_owned()).unwrap(), &[], now)
            .is_ok()
    }

    #[test]
    fn a_certificate_is_believed_for_its_hosts_until_it_ends_and_the_next_one_by_the_same_authority() {
        let folder = tempfile::tempdir().unwrap();
        let read = |name: &str| fs::read_to_string(folder.path().join("people").join(name)).unwrap();
        let names = hosts(&["stores.yard.example", "192.168.7.5", "fd00::7"]);
        let first = certify(folder.path(), &names, false, START).unwrap();
        assert!(first.is_new);
        for host in ["stores.yard.example", "192.168.7.5", "fd00::7", "localhost", "127.0.0.1", "::1"] {
            assert!(is_believed(&read(AUTHORITY), &read(CERTIFICATE), host, 0), "{host}");
        }
        for host in ["yard.example", "other.stores.yard.example", "192.168.7.6", "127.0.0.2"] {
            assert!(!is_believed(&read(AUTHORITY), &read(CERTIFICATE), host, 0), "{host}");
        }
        let valid = [-2, -1, 396, 397].map(|days| is_believed(&read(AUTHORITY), &read(CERTIFICATE), "localhost", days));
        assert_eq!(valid, [false, true, true, false]);
        let authority = read(AUTHORITY);
        let later = START.plus_ms(397 * 24 * 60 * 60 * 1_000);
        let next = certify(folder.path(), &names, false, later).unwrap();
        assert_eq!((next.is_new, next.fingerprint, read(AUTHORITY)), (false, first.fingerprint, authority.clone()));
        assert!(is_believed(&authority, &read(CERTIFICATE), "stores.yard.example", 397));
    }

    #[test]
    fn a_certificate_never_outlasts_the_authority_that_vouches_for_it() {
        let folder = tempfile::tempdir().unwrap();
        let read = |name: &str| fs::read_to_string(folder.path().join("people").join(name)).unwrap();
        let names = hosts(&["stores"]);
        certify(folder.path(), &names, false, START).unwrap();
        let day = |days: i64| START.plus_ms(days * 24 * 60 * 60 * 1_000);
        let last = certify(folder.path(), &names, false, day(3_600)).unwrap();
        let ends = last.ends.since(START) / (24 * 60 * 60 * 1_000);
        assert!((3_648..=3_650).contains(&ends), "{ends}");
        assert!(is_believed(&read(AUTHORITY), &read(CERTIFICATE), "stores", ends - 1));
        assert!(matches!(certify(folder.path(), &names, false, day(3_651)), Err(CertifyError::Ended)));
        assert!(certify(folder.path(), &names, true, day(3_651)).unwrap().is_new);
    }

    #[test]
    fn what_its_key_signs_for_a_host_of_the_world_is_not_believed() {
        let folder = tempfile::tempdir().unwrap();
        let read = |name: &str| fs::read_to_string(folder.path().join("people").join(name)).unwrap();
        certify(folder.path(), &hosts(&["stores.yard.example"]), false, START).unwrap();
        let (pem, key) = (read(AUTHORITY), KeyPair::from_pem(&read(AUTHORITY_KEY)).unwrap());
        let issuer = Issuer::from_ca_cert_pem(&pem, key).unwrap();
        for (host, believed) in [
            ("stores.yard.example", true),
            ("scan.stores.yard.example", true),
            ("10.1.2.3", true),
            ("yard.example", false),
            ("bank.example", false),
            ("203.0.113.7", false),
            ("2001:db8::1", false),
        ] {
            let mut params = CertificateParams::new(vec![host.to_owned()]).unwrap();
            lasts(&mut params, START, 10);
            let made = params.signed_by(&KeyPair::generate().unwrap(), &issuer).unwrap();
            assert_eq!(is_believed(&pem, &made.pem(), host, 0), believed, "{host}");
        }
        assert!(matches!(
            certify(folder.path(), &hosts(&["bank.example"]), false, START),
            Err(CertifyError::NotVouched { host, .. }) if host == "bank.example"
        ));
        let anew = certify(folder.path(), &hosts(&["bank.example"]), true, START).unwrap();
        assert!(anew.is_new && read(AUTHORITY) != pem);
    }

    #[test]
    fn half_an_authority_is_none_and_nothing_is_made_over_it() {
        let folder = tempfile::tempdir().unwrap();
        let people = folder.path().join("people");
        certify(folder.path(), &hosts(&["stores"]), false, START).unwrap();
        fs::remove_file(people.join(AUTHORITY_KEY)).unwrap();
        let shown = fs::read(people.join(CERTIFICATE)).unwrap();
        assert!(matches!(certify(folder.path(), &hosts(&["stores"]), false, START), Err(CertifyError::NoAuthority)));
        assert_eq!(fs::read(people.join(CERTIFICATE)).unwrap(), shown);
    }
}
