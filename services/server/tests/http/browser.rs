//! A browser without JavaScript: it follows links, posts forms and reads what stands on a page.

use crate::yard::{Said, Server};
use reqwest::Method;

pub(crate) struct Browser<'a> {
    pub(crate) server: &'a Server,
    pub(crate) cookie: String,
}

/// A form as it stands on a page.
pub(crate) struct Form {
    pub(crate) action: String,
    pub(crate) fields: Vec<(String, String)>,
}

impl Browser<'_> {
    pub(crate) fn get(&mut self, path: &str) -> Said {
        let said =
            self.server.send(Method::GET, path, &[("accept", "text/html"), ("cookie", &self.cookie)], Vec::new());
        self.follow(said)
    }

    pub(crate) fn post(&mut self, form: &Form, extra: &[(&str, &str)]) -> Said {
        let fields =
            form.fields.iter().map(|(name, value)| (name.as_str(), value.as_str())).chain(extra.iter().copied());
        let body: Vec<String> = fields.map(|(name, value)| format!("{name}={}", encoded(value))).collect();
        let headers = [
            ("accept", "text/html"),
            ("cookie", self.cookie.as_str()),
            ("content-type", "application/x-www-form-urlencoded"),
        ];
        let said = self.server.send(Method::POST, &form.action, &headers, body.join("&").into_bytes());
        self.follow(said)
    }

    fn follow(&mut self, said: Said) -> Said {
        if let Some(cookie) = said.headers.get("set-cookie") {
            let cookie = cookie.to_str().unwrap();
            assert!(cookie.contains("SameSite=Strict") && cookie.contains("HttpOnly"), "{cookie}");
            self.cookie = cookie.split(';').next().unwrap().to_owned();
        }
        match said.status {
            303 => self.get(said.headers["location"].to_str().unwrap()),
            _ => {
                assert_eq!(said.media, "text/html; charset=utf-8", "{}", said.text);
                assert!(said.headers["content-security-policy"].to_str().unwrap().contains("default-src 'none'"));
                said
            }
        }
    }

    pub(crate) fn scan(&mut self, code: &str) -> Said {
        self.get(&format!("/?code={}", encoded(code)))
    }
}

fn encoded(text: &str) -> String {
    text.bytes()
        .map(|byte| if byte.is_ascii_alphanumeric() { char::from(byte).to_string() } else { format!("%{byte:02X}") })
        .collect()
}

fn attribute(tag: &str, name: &str) -> Option<String> {
    tag.split(&format!(" {name}=\"")).nth(1)?.split('"').next().map(str::to_owned)
}

pub(crate) fn moves(page: &Said) -> Form {
    let form = page
        .text
        .split("<form class=\"moves")
        .nth(1)
        .unwrap_or_else(|| panic!("no buttons: {}", page.text))
        .split("</form>")
        .next()
        .unwrap();
    let inputs = form.split("<input").skip(1).map(|rest| rest.split('>').next().unwrap());
    let fields = inputs.map(|tag| (attribute(tag, "name").unwrap(), attribute(tag, "value").unwrap())).collect();
    Form { action: attribute(form, "action").unwrap(), fields }
}

pub(crate) fn buttons(page: &Said) -> Vec<String> {
    page.text
        .split("<button")
        .skip(1)
        .map(|rest| rest.split('>').nth(1).unwrap().split('<').next().unwrap().to_owned())
        .collect()
}

/// What a person reads.
pub(crate) fn words(page: &Said) -> String {
    let mut words = String::new();
    let mut within = true;
    // A code stands in an element of its own, in the middle of a sentence.
    let text = page.text.replace("<code>", "").replace("</code>", "");
    for c in text.split("<main>").nth(1).unwrap().chars() {
        match c {
            '<' => within = false,
            '>' => {
                within = true;
                words.push(' ');
            }
            c if within => words.push(c),
            _ => {}
        }
    }
    words.replace("&#39;", "'").split_whitespace().collect::<Vec<_>>().join(" ")
}

pub(crate) fn signed_on(server: &Server) -> Browser<'_> {
    let mut browser = Browser { server, cookie: String::new() };
    let form = Form { action: "/badge".to_owned(), fields: Vec::new() };
    let said = browser.post(&form, &[("code", "B-17"), ("then", "")]);
    assert!(words(&said).contains("B-17, claimed"), "{}", words(&said));
    browser
}
