//! Which names the server answers to. Nobody signs in yet, so a page of another site must not reach it by giving its own
//! name this machine's address: such a browser still says that name in `Host`.

use super::{
    pages,
    problems::{Fault, Kind},
};
use actix_web::{
    Error,
    body::{BoxBody, MessageBody},
    dev::{ServiceRequest, ServiceResponse},
    http::{StatusCode, header},
    middleware::Next,
    web,
};
use std::net::{IpAddr, Ipv4Addr, Ipv6Addr};

/// The address that the server listens on.
pub(crate) struct Own(pub(crate) IpAddr);

impl Own {
    /// Whether a `Host`, with or without a port, is served.
    fn answers_to(&self, host: &str) -> bool {
        let name = match host.rsplit_once(':') {
            Some((name, port)) if port.bytes().all(|byte| byte.is_ascii_digit()) => name,
            _ => host,
        };
        if !self.0.is_loopback() || name.eq_ignore_ascii_case("localhost") {
            return true;
        }
        let address = match name.strip_prefix('[').and_then(|name| name.strip_suffix(']')) {
            Some(address) => address.parse().map(IpAddr::V6),
            None => name.parse().map(IpAddr::V4),
        };
        address
            .is_ok_and(|address| address == self.0 || address == Ipv4Addr::LOCALHOST || address == Ipv6Addr::LOCALHOST)
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
            let detail = "This server answers to 127.0.0.1, [::1] and localhost only, and the request names another host. \
                          Nothing was looked up and nothing was written.";
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
        let own = Own("127.0.0.7".parse().unwrap());
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
            "user@localhost",
        ] {
            assert!(!own.answers_to(host), "{host}");
        }
        // Whoever binds it to the network answers for the names there.
        assert!(Own("192.0.2.1".parse().unwrap()).answers_to("yard.example"));
    }
}
