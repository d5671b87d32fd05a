//! A host of the yard's own network: a name, or a private address.

use std::{fmt, net::IpAddr, str::FromStr};

#[derive(Clone, PartialEq, Eq, PartialOrd, Ord, Debug)]
pub enum Host {
    Name(String),
    Address(IpAddr),
}

impl FromStr for Host {
    type Err = String;

    fn from_str(text: &str) -> Result<Host, String> {
        if let Ok(address) = text.parse::<IpAddr>() {
            let private = match address {
                IpAddr::V4(address) => address.is_private() || address.is_loopback(),
                IpAddr::V6(address) => {
                    address.is_unique_local() || address.is_unicast_link_local() || address.is_loopback()
                }
            };
            return match private {
                true => Ok(Host::Address(address)),
                false => {
                    Err("the yard's own authority vouches for private addresses only (RFC 1918, RFC 4193)".to_owned())
                }
            };
        }
        // RFC 1123, section 2.1.
        let fits = |label: &str| {
            (1..=63).contains(&label.len())
                && !label.starts_with('-')
                && !label.ends_with('-')
                && label.bytes().all(|byte| byte.is_ascii_alphanumeric() || byte == b'-')
        };
        let numbers_only = text.rsplit('.').next().is_some_and(|last| last.bytes().all(|byte| byte.is_ascii_digit()));
        match text.len() <= 253 && text.split('.').all(fits) && !numbers_only {
            true => Ok(Host::Name(text.to_ascii_lowercase())),
            false => Err("write the name as handhelds will call it, such as stores.yard.example, or a private address"
                .to_owned()),
        }
    }
}

impl fmt::Display for Host {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Host::Name(name) => f.write_str(name),
            Host::Address(address) => address.fmt(f),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_and_private_addresses_are_hosts_and_nothing_of_the_world_is() {
        for host in [
            "stores",
            "stores.yard.example",
            "Yard-1.local",
            "10.0.0.7",
            "172.31.255.255",
            "192.168.1.5",
            "fd00::7",
            "::1",
        ] {
            assert_eq!(host.parse::<Host>().unwrap().to_string(), host.to_ascii_lowercase());
        }
        for host in [
            "",
            ".",
            "a..b",
            "-a",
            "a-",
            "a b",
            "a:80",
            "*.yard",
            "8.8.8.8",
            "172.32.0.1",
            "2001:db8::1",
            "1.2.3",
            "a/b",
        ] {
            assert!(host.parse::<Host>().is_err(), "{host}");
        }
    }
}
