//! Pages about people: signing in, setting up, enrolling a device, and what an administrator looks after.

mod everybody;
mod held;
mod mine;
mod sign_in;
mod symbol;
mod with_code;

pub(crate) use everybody::{people_page, post_people};
pub(crate) use mine::{calendar_page, post_calendar, post_sessions, sessions_page};
pub(crate) use sign_in::{post_sign_in, post_sign_out, post_sitting, sign_in_page, sign_in_to_send, sitting_page};
pub(crate) use with_code::{enrol_page, post_enrol, post_set_up, set_up_page};

use actix_web::http::Uri;

/// Where somebody goes on: only ever a page of this server.
fn onward(then: &str) -> String {
    let here = then.starts_with('/')
        && !then.starts_with("//")
        && !then.contains('\\')
        && then.bytes().all(|byte| byte.is_ascii_graphic());
    match here && then.parse::<Uri>().is_ok_and(|uri| uri.host().is_none()) {
        true => then.to_owned(),
        false => "/".to_owned(),
    }
}

#[cfg(test)]
mod tests {
    use super::onward;

    #[test]
    fn nobody_is_led_to_another_site() {
        for here in ["/", "/thing/roll/R-1?at=2026", "/cut?nest=N-7"] {
            assert_eq!(onward(here), here);
        }
        for elsewhere in [
            "",
            "https://yard.example/",
            "//yard.example/",
            "/\\yard.example",
            "javascript:x",
            "/a b",
            "\\\\yard.example",
        ] {
            assert_eq!(onward(elsewhere), "/", "{elsewhere}");
        }
    }
}
