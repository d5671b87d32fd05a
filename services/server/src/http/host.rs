//! Which names the server answers to. Nobody signs in yet, so a page of another site must not reach it by giving its own
//! name this machine's address: such a browser still says that name in `Host`.

use super::{
    pages,
    problems::{Fault, Kind},
};
use crate::tls::Identity;
use actix_web::{
    Error,
    body::{BoxBody, MessageBody},
    dev::{ServiceRequest, ServiceResponse},
    http::{StatusCode, header},
    middleware::Next,
    web,
};
use std::{
    net::{IpAddr, Ipv4Addr, Ipv6Addr},
    sync::Arc,
};

/// The addresses that the server listens on, and whose certificate it shows.
pub(crate) struct Own {
    pub(crate) addresses: Vec<IpAddr>,
    pub(crate) identity: Option<Arc<Identity>>,
}

impl Own {
    /// Whether a `Host`, with or without a port, is served: this machine's own names, and those of the certificate. A
    /// browser that was led here by another name would not have believed the certificate.
    fn answers_to(&self, host: &str) -> bool {
        let name = match host.rsplit_once(':') {
            Some((name, port)) if port.bytes().all(|byte| byte.is_ascii_digit()) => name,
            _ => host,
        };
        let in_brackets = name.strip_prefix('[').and_then(|name| name.strip_suffix(']'));
        if name.eq_ignore_ascii_case("localhost")
            || self.identity.as_ref().is_some_and(|identity| identity.is_of(in_brackets.unwrap_or(name)))
        {
            return true;
        }
        let address = match in_brackets {
            Some(address) => address.parse().map(IpAddr::V6),
            None => name.parse().map(IpAddr::V4),
        };
        let is_bound = |address| self.addresses.iter().any(|own| own.is_loopback() && *own == address);
        address
            .is_ok_and(|address| is_bound(address) || address == Ipv4Addr::LOCALHOST || address == Ipv6Addr::LOCALHOST)
    }

    /// The names that it answers to, in words.
    fn words(&self) -> &'static str {
        match self.identity {
            None => "127.0.0.1, [::1] and localhost only",
            Some(_) => "the names of its certificate, 127.0.0.1, [::1] and localhost only",
        }
    }
}

/// Refuses what was asked under another name, before anything else looks at it.
pub(crate) async fn own_names_only<B: MessageBody + 'static>(
    request: ServiceRequest,
    next: Next<B>,
) -> Result<ServiceResponse<BoxBody>, Error> {
    let own = request.app_data::<web::Data<Own>>();
    let named = request.uri().host().map(str::as_bytes);
    let hosts: Vec<&[u8]> =
        request.headers().get_all(header::HOST).map(header::HeaderValue::as_bytes).chain(named).collect();
    let is_own = |host: &&[u8]| std::str::from_utf8(host).is_ok_and(|host| own.is_some_and(|own| own.answers_to(host)));
    if !hosts.is_empty() && hosts.iter().all(is_own) {
        return Ok(next.call(request).await?.map_into_boxed_body());
    }
    let fault = match hosts.is_empty() {
        true => Fault::cannot_read(
            "The request names no host: send the header Host with this server's address. Nothing was written.",
        ),
        false => {
            let words = own.map_or("127.0.0.1, [::1] and localhost only", |own| own.words());
            let detail = format!(
                "This server answers to {words}, and the request names another host. Nothing was looked up and nothing was \
                 written."
            );
            Fault::new(StatusCode::MISDIRECTED_REQUEST, Kind::OtherName, detail)
        }
    };
    let answer = pages::or_problem(request.request(), fault);
    Ok(request.into_response(answer))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_the_names_of_this_machine_and_the_bound_address_are_its_own() {
        let own = Own { addresses: vec!["127.0.0.7".parse().unwrap(), "192.0.2.9".parse().unwrap()], identity: None };
        for host in ["127.0.0.1", "127.0.0.1:80", "127.0.0.7:8080", "[::1]", "[::1]:8080", "localhost", "LocalHost:1"] {
            assert!(own.answers_to(host), "{host}");
        }
        for host in [
            "",
            "yard.example",
            "yard.example:8080",
            "localhost.yard.example",
            "127.0.0.1.yard.example",
            "127.0.0.2",
            "localhost:80:80",
            "localhost:8o",
            "::1",
            "[127.0.0.1]",
            "[::2]:80",
            "192.0.2.1",
            "192.0.2.9",
            "user@localhost",
        ] {
            assert!(!own.answers_to(host), "{host}");
        }
    }
}
