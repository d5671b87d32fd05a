//! What a scene says of badges, devices and tokens.

use crate::scene::{Scene, code, stamp};
use shared_types::*;

pub fn grant(roles: &[Role]) -> Body {
    Body::RolesGranted(GrantRoles { roles: roles.to_vec(), scopes: Vec::new() })
}

impl Scene {
    pub fn granted(self, badge: &str, roles: &[Role], at: &str) -> Scene {
        self.entry(&format!("badge/{badge}"), at, grant(roles)).by("A-1")
    }

    /// Its programs may do this.
    pub fn integrates(self, badge: &str, scopes: &[Scope], at: &str) -> Scene {
        let body = GrantRoles { roles: vec![Role::Integrator], scopes: scopes.to_vec() };
        self.entry(&format!("badge/{badge}"), at, Body::RolesGranted(body)).by("A-1")
    }

    pub fn enrolled(self, device: &str, at: &str) -> Scene {
        let body = EnrolDevice { what: DeviceIs::Handheld, place: Some(code("F1")) };
        self.entry(&format!("device/{device}"), at, Body::DeviceEnrolled(body)).by("A-1")
    }

    pub fn revoked(self, device: &str, at: &str) -> Scene {
        let body = RevokeDevice { why: "lost".to_owned() };
        self.entry(&format!("device/{device}"), at, Body::DeviceRevoked(body)).by("A-1")
    }

    pub fn token_issued(self, badge: &str, scopes: &[Scope], ends_at: Option<&str>, at: &str) -> Scene {
        let ends_at = ends_at.map(stamp);
        let body = IssueToken { name: "planning".to_owned(), scopes: scopes.to_vec(), ends_at };
        self.entry(&format!("badge/{badge}"), at, Body::TokenIssued(body)).by("A-1")
    }

    pub fn token_revoked(self, badge: &str, name: &str, at: &str) -> Scene {
        let body = RevokeToken { token: self.id(name), why: None };
        self.entry(&format!("badge/{badge}"), at, Body::TokenRevoked(body)).by("A-1")
    }

    pub fn signed_in(self, badge: &str, device: &str, at: &str) -> Scene {
        let body = SignedIn { how: SignInBy::Badge, device: Some(code(device)) };
        self.entry(&format!("badge/{badge}"), at, Body::SignedIn(body)).by(badge).change(|entry| {
            (entry.device, entry.device_known) = (Some(code(device)), Some(KnownBy::Token));
        })
    }
}
