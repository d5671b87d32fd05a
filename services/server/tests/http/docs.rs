//! The document for people: everything that it has is on a page, every link leads somewhere, and no page asks for more than a
//! style sheet of this very server.

use crate::yard::{Said, Server};
use reqwest::Method;
use serde_json::Value;
use std::collections::BTreeSet;

fn page(server: &Server, path: &str) -> Said {
    let said = server.send(Method::GET, path, &[("accept", "text/html")], Vec::new());
    assert_eq!((said.status, said.media.as_str()), (200, "text/html; charset=utf-8"), "{path}: {}", said.text);
    said
}

fn links(text: &str) -> BTreeSet<String> {
    text.split("href=\"").skip(1).map(|rest| rest.split('"').next().unwrap().to_owned()).collect()
}

#[test]
fn every_operation_and_every_shape_has_a_page() {
    let server = Server::start();
    let document: Value = serde_json::from_str(&server::http::openapi_json()).unwrap();
    let index = links(&page(&server, "/docs").text);
    for (path, item) in document["paths"].as_object().unwrap() {
        for operation in item.as_object().unwrap().values() {
            let address = format!("/docs/operations/{}", operation["operationId"].as_str().unwrap());
            assert!(index.contains(&address), "{address} is not to be found");
            let text = page(&server, &address).text;
            for status in operation["responses"].as_object().unwrap().keys() {
                assert!(text.contains(&format!("<h3>{status}</h3>")), "{address} {status}");
            }
            for parameter in operation["parameters"].as_array().into_iter().flatten() {
                assert!(
                    text.contains(&format!("<td>{}<br>", parameter["name"].as_str().unwrap())),
                    "{address} {parameter}"
                );
            }
            assert!(
                text.contains(&path.replace('{', "&#123;").replace('}', "&#125;")) || text.contains(path),
                "{path}"
            );
        }
    }
    for name in document["components"]["schemas"].as_object().unwrap().keys() {
        assert!(index.contains(&format!("/docs/shapes/{name}")), "{name}");
    }
}

#[test]
fn every_link_leads_somewhere_and_nothing_comes_from_elsewhere() {
    let server = Server::start();
    let (mut seen, mut ahead) = (BTreeSet::new(), vec!["/docs".to_owned()]);
    while let Some(path) = ahead.pop() {
        if !seen.insert(path.clone()) {
            continue;
        }
        if !path.starts_with("/docs") {
            assert!(path == "data:," || server.get(&path).status == 200, "{path}");
            continue;
        }
        let said = page(&server, &path);
        let policy = said.headers["content-security-policy"].to_str().unwrap();
        assert!(
            policy.starts_with("default-src 'none'; style-src 'self';") && !policy.contains("script-src"),
            "{policy}"
        );
        for inline in ["<script", "<style", " style=", " onclick=", "http://", "https://"] {
            assert!(!said.text.contains(inline), "{path} holds {inline}");
        }
        assert_eq!(said.text.matches("<h1>").count(), 1, "{path}");
        ahead.extend(links(&said.text));
    }
    assert!(150 < seen.len(), "{}", seen.len());
}

#[test]
fn what_is_not_there_is_said() {
    let server = Server::start();
    for path in ["/docs/operations/eat", "/docs/shapes/None", "/docs/shapes/%00"] {
        server.get(path).problem(404, "no-such-operation");
        let said = server.send(Method::GET, path, &[("accept", "text/html")], Vec::new());
        assert_eq!((said.status, said.media.as_str()), (404, "text/html; charset=utf-8"), "{path}");
    }
    server.get("/docs/operations").problem(404, "no-such-operation");
}
