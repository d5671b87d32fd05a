//! Holding values against the schemas of the document, with a validator that is not ours (`jsonschema`, draft 2020-12, as
//! OpenAPI 3.1 has it), formats included.

use serde_json::{Value, json};

/// Fails with what the validator says.
pub(super) fn holds(document: &Value, schema: &Value, value: &Value, what: &str) {
    let mut whole = schema.clone();
    whole["components"] = json!({"schemas": document["components"]["schemas"]});
    let validator = jsonschema::options().should_validate_formats(true).build(&whole).unwrap();
    let wrong: Vec<String> =
        validator.iter_errors(value).map(|error| format!("{}: {error}", error.instance_path())).collect();
    assert!(wrong.is_empty(), "{what}: {wrong:?}\n{value}");
}

#[test]
fn a_value_that_does_not_fit_is_noticed() {
    let document: Value = serde_json::from_str(&server::http::openapi_json()).unwrap();
    let problem = json!({"$ref": "#/components/schemas/Problem"});
    let fits = |value: &Value| std::panic::catch_unwind(|| holds(&document, &problem, value, "a problem")).is_ok();
    assert!(fits(&json!({"type": "/problems/x", "title": "x", "status": 400, "detail": "X."})));
    assert!(!fits(&json!({"type": "/problems/x", "title": "x", "status": "400", "detail": "X."})));
    assert!(!fits(&json!({"type": "/problems/x"})));
}
