//! What the program is built of: every package from the one registry, under a licence that lets a yard use and pass on the
//! whole under Apache-2.0, and none that would bring a second implementation of what there is one for.

use std::process::Command;

use serde_json::Value;
use spdx::{Expression, LicenseReq};

/// Licences that ask for no more than to be named (SPDX identifiers).
const FREE: &[&str] = &[
    "0BSD",
    "Apache-2.0",
    "BSD-2-Clause",
    "BSD-3-Clause",
    "BSL-1.0",
    "CC0-1.0",
    "CDLA-Permissive-2.0",
    "ISC",
    "MIT",
    "MIT-0",
    "Unicode-3.0",
    "Unlicense",
    "Zlib",
];

/// Whose licence stands in a file alone, which a person read.
const READ: &[(&str, &str)] = &[("ical", "Apache-2.0; a parser that only tests use")];

/// Never in the program, and why.
const NEVER: &[(&str, &str)] = &[
    ("openssl-sys", "rustls is the one TLS, and it needs no library of the machine"),
    ("native-tls", "rustls is the one TLS"),
    ("aws-lc-sys", "ring is the one implementation of ciphers"),
    ("actix-governor", "it is GPL"),
];

/// What cargo knows of everything that is built on this kind of machine.
fn packages() -> Vec<Value> {
    let version = Command::new("rustc").arg("-vV").output().unwrap();
    let version = String::from_utf8(version.stdout).unwrap();
    let host = version.lines().find_map(|line| line.strip_prefix("host: ")).unwrap();
    let cargo = std::env::var_os("CARGO").unwrap_or_else(|| "cargo".into());
    let args = ["metadata", "--format-version", "1", "--locked", "--offline", "--filter-platform", host];
    let said = Command::new(cargo).args(args).current_dir(env!("CARGO_MANIFEST_DIR")).output().unwrap();
    assert!(said.status.success(), "{}", String::from_utf8_lossy(&said.stderr));
    let all: Value = serde_json::from_slice(&said.stdout).unwrap();
    // Only what is used here: cargo lists the others of the lock file too.
    let used: Vec<&str> =
        all["resolve"]["nodes"].as_array().unwrap().iter().map(|node| node["id"].as_str().unwrap()).collect();
    let is_used = |package: &&Value| used.contains(&package["id"].as_str().unwrap());
    all["packages"].as_array().unwrap().iter().filter(is_used).cloned().collect()
}

fn is_free(required: &LicenseReq) -> bool {
    required.addition.is_none() && required.license.id().is_some_and(|licence| FREE.contains(&licence.name))
}

#[test]
fn every_package_may_be_passed_on_and_comes_from_the_one_registry() {
    let packages = packages();
    assert!(100 < packages.len(), "{}", packages.len());
    let mut wrong = Vec::new();
    for package in &packages {
        let name = package["name"].as_str().unwrap();
        let licence = package["license"].as_str().unwrap_or_default();
        match Expression::parse_mode(licence, spdx::ParseMode::LAX) {
            Ok(expression) if expression.evaluate(is_free) => {}
            _ if licence.is_empty() && READ.iter().any(|(read, _)| *read == name) => {}
            _ => wrong.push(format!("{name}: licence {licence:?}")),
        }
        match package["source"].as_str() {
            None => assert!(["shared-types", "domain", "server", "tests"].contains(&name), "{name} comes from nowhere"),
            Some(source) if source.starts_with("registry+") => {}
            Some(source) => wrong.push(format!("{name}: from {source}")),
        }
        wrong.extend(NEVER.iter().filter(|(never, _)| *never == name).map(|(never, why)| format!("{never}: {why}")));
    }
    assert!(wrong.is_empty(), "{wrong:#?}");
}
