//! What makes two posted items the same item: the first 16 bytes of SHA-256 over the RFC 8785 form, nulls dropped.

use serde_json::Value;
use sha2::{Digest, Sha256};
use shared_types::Fingerprint;

/// The fingerprint of an item. A member that is null is the same as one that is not there.
pub fn of(item: &Value) -> serde_json::Result<Fingerprint> {
    let canonical = match holds_null(item) {
        true => {
            let mut tidy = item.clone();
            drop_nulls(&mut tidy);
            canonical(&tidy)?
        }
        false => canonical(item)?,
    };
    let mut first = [0; 16];
    first.iter_mut().zip(Sha256::digest(&canonical)).for_each(|(to, from)| *to = from);
    Ok(Fingerprint(first))
}

/// The RFC 8785 form. Most items are plain, and then serde_json, which is several times faster, writes that very form.
fn canonical(value: &Value) -> serde_json::Result<Vec<u8>> {
    match is_plain(value) {
        true => serde_json::to_vec(value),
        false => serde_json_canonicalizer::to_vec(value),
    }
}

/// Whole numbers that a double holds exactly, and names that sort the same as UTF-8 and as UTF-16.
fn is_plain(value: &Value) -> bool {
    const EXACT: u64 = 1 << 53;
    match value {
        Value::Object(members) => members.iter().all(|(name, member)| name.is_ascii() && is_plain(member)),
        Value::Array(items) => items.iter().all(is_plain),
        Value::Number(number) => match (number.as_u64(), number.as_i64()) {
            (Some(number), _) => number <= EXACT,
            (None, Some(number)) => number.unsigned_abs() <= EXACT,
            (None, None) => false,
        },
        Value::Null | Value::Bool(_) | Value::String(_) => true,
    }
}

/// Whether some member is null. A null in a list keeps its place: only members can be left out.
pub fn holds_null(value: &Value) -> bool {
    match value {
        Value::Object(members) => members.values().any(|member| member.is_null() || holds_null(member)),
        Value::Array(items) => items.iter().any(holds_null),
        Value::Null | Value::Bool(_) | Value::Number(_) | Value::String(_) => false,
    }
}

/// Drops every member that is null, all the way down.
pub fn drop_nulls(value: &mut Value) {
    match value {
        Value::Object(members) => {
            members.retain(|_, member| !member.is_null());
            members.values_mut().for_each(drop_nulls);
        }
        Value::Array(items) => items.iter_mut().for_each(drop_nulls),
        Value::Null | Value::Bool(_) | Value::Number(_) | Value::String(_) => {}
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use serde_json::json;

    /// Against the library, on which the published examples are tried.
    #[test]
    fn the_short_way_gives_the_same_bytes_as_the_library() {
        let texts: Vec<String> = (0..0x500_u32).filter_map(char::from_u32).map(|c| format!("a{c}b\u{1f602}")).collect();
        let item = json!({
            "b": [texts, 0, -7, 9_007_199_254_740_992_u64, true, false, null], "a": {"B": {}, "A": [], "": "x", "a-1": 1, "a1": 2},
            "\u{7f}": "\u{2028}", "\n": "</script>",
        });
        assert!(is_plain(&item));
        assert_eq!(canonical(&item).unwrap(), serde_json_canonicalizer::to_vec(&item).unwrap());
        for other in [
            json!(1.5),
            json!(1e30),
            json!(9_007_199_254_740_993_u64),
            json!(u64::MAX),
            json!({"\u{f6}": 1}),
            json!(-0.0),
        ] {
            assert!(!is_plain(&other), "{other}");
        }
    }

    fn sha256(bytes: &[u8]) -> String {
        Sha256::digest(bytes).iter().map(|byte| format!("{byte:02x}")).collect()
    }

    /// Source: the input files of cyberphone/json-canonicalization at 19d51d7, `testdata/input` (Apache-2.0), some put
    /// together from older versions of the file; the lengths and SHA-256 are those of the files in
    /// `testdata/output`, and the Python package rfc8785 0.1.4 gives the same bytes.
    #[test]
    fn the_published_examples_of_rfc_8785_come_out_byte_for_byte() {
        let examples = [
            (
                r#"[ 56, { "d": true, "10": null, "1": [ ] } ]"#,
                32,
                "099601b171cafed97c333f8878d68e7f8c8f795412adb34b2fdcf0e7c7beac42",
            ),
            (
                r#"{ "peach": "This sorting order", "p\u00e9ch\u00e9": "is wrong according to French",
                     "p\u00eache": "but canonicalization MUST", "sin": "ignore locale" }"#,
                130,
                "d99d0ebdcb0033cb858cfa830ae46bc0fb3309413b271f1da828c89901a27ed5",
            ),
            (
                r#"{ "1": {"f": {"f": "hi","F": 5} ,"\n": 56.0}, "10": { }, "": "empty", "a": { }, "111": [ {"e": "yes", "E": "no"} ], "A": { } }"#,
                98,
                "605f65004ec2db7692522a0852c22f1c989e036d547e88963d1a3143cf3195d5",
            ),
            (
                r#"{ "Unnormalized Unicode":"A\u030a" }"#,
                30,
                "0d99aad92a125196ff887876643fd3206786a84ddce2cee52ba4ad256d2381d3",
            ),
            (
                r#"{ "numbers": [333333333.33333329, 1E30, 4.50, 2e-3, 0.000000000000000000000000001],
                     "string": "\u20ac$\u000F\u000aA'\u0042\u0022\u005c\\\"\/", "literals": [null, true, false] }"#,
                118,
                "2d5e01a318d0f0879ab568c4be289c8b1f64ef8921a53c6277d5e069978baacb",
            ),
            (
                r#"{ "\u20ac": "Euro Sign", "\r": "Carriage Return", "\n": "Newline", "1": "One", "\u0080": "Control\u007f",
                     "\ud83d\ude02": "Smiley", "\u00f6": "Latin Small Letter O With Diaeresis",
                     "\ufb33": "Hebrew Letter Dalet With Dagesh", "</script>": "Browser Challenge" }"#,
                214,
                "6af595a9aa80110b964b4de3f82a05fa6ae7423005019bacfa2620dddc4e94d1",
            ),
        ];
        for (input, bytes, hash) in examples {
            let value: Value = serde_json::from_str(input).unwrap();
            let out = canonical(&value).unwrap();
            assert_eq!(out, serde_json_canonicalizer::to_vec(&value).unwrap());
            assert_eq!((out.len(), sha256(&out).as_str()), (bytes, hash), "{}", String::from_utf8_lossy(&out));
        }
    }

    /// Source: cyberphone/json-canonicalization, `testdata/README.md`, sample lines.
    #[test]
    fn the_published_number_samples_are_written_as_ecmascript_writes_them() {
        let samples = [
            (0x4340_0000_0000_0001_u64, "9007199254740994"),
            (0x4340_0000_0000_0002, "9007199254740996"),
            (0x444b_1ae4_d6e2_ef50, "1e+21"),
            (0x3eb0_c6f7_a0b5_ed8d, "0.000001"),
            (0x3eb0_c6f7_a0b5_ed8c, "9.999999999999997e-7"),
            (0x8000_0000_0000_0000, "0"),
            (0, "0"),
        ];
        for (bits, text) in samples {
            assert_eq!(serde_json_canonicalizer::to_string(&f64::from_bits(bits)).unwrap(), text);
        }
    }

    /// Source: the example strings of FIPS 180-4 and RFC 6234, from memory; recomputed with Python's hashlib.
    #[test]
    fn sha_256_gives_its_published_examples() {
        let examples = [
            ("", "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855"),
            ("abc", "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"),
            (
                "abcdbcdecdefdefgefghfghighijhijkijkljklmklmnlmnomnopnopq",
                "248d6a61d20638b8e5c026930c3e6039a33ce45964ff2167f6ecedd419db06c1",
            ),
            (&"a".repeat(1_000_000), "cdc76e5c9914fb9281a1c7e284d73e67f1809a48a497200e046d39ccc7112cd0"),
        ];
        for (input, hash) in examples {
            assert_eq!(sha256(input.as_bytes()), hash);
        }
    }

    #[test]
    fn order_blanks_and_absent_members_do_not_make_another_item() {
        let posted = of(&json!({"id": 1, "body": {"into": "F1", "position": null}, "second": null})).unwrap();
        assert_eq!(posted, of(&serde_json::from_str(r#" {"body":{"into":"F1"}, "id":1.0} "#).unwrap()).unwrap());
        assert_ne!(posted, of(&json!({"id": 1, "body": {"into": "F2"}})).unwrap());
        assert_ne!(of(&json!([null])).unwrap(), of(&json!([])).unwrap());
    }

    #[test]
    fn the_fast_way_writes_the_same_form() {
        let texts: String = (0..0x300).chain(0xfff0..0x10010).filter_map(char::from_u32).collect();
        let names: serde_json::Map<String, Value> =
            (0..0x80_u8).map(|byte| (char::from(byte).to_string(), json!(byte))).collect();
        let numbers = [json!(0), json!(-7), json!(1_u64 << 53), json!(-(1_i64 << 53)), json!(true), json!([[], {}])];
        for value in [json!(texts), json!(names), json!(numbers)] {
            assert!(is_plain(&value));
            assert_eq!(canonical(&value).unwrap(), serde_json_canonicalizer::to_vec(&value).unwrap());
        }
        let exact = (1_u64 << 53) + 1;
        assert!([json!(1.0), json!(exact), json!(u64::MAX), json!({"\u{e9}": 1})].iter().all(|value| !is_plain(value)));
    }

    /// The value is computed here, so that it can't change unseen: it is stored in every log.
    #[test]
    fn a_fingerprint_is_the_first_half_of_the_hash() {
        assert_eq!(of(&json!({"a": 1})).unwrap().to_string(), sha256(br#"{"a":1}"#)[..32]);
    }
}
