//! A small check of JSON against the part of JSON Schema 2020-12 that the committed schemas use.
//!
//! `./check` holds the same schemas against a full validator; this one keeps the tests free of it.
#![expect(clippy::unwrap_used, reason = "a schema that cannot be read fails its test")]

use serde_json::Value;

/// Every place where the value is not what the schema says; empty when all is well.
pub(crate) fn mistakes(schema: &str, value: &Value) -> Vec<String> {
    let root: Value = serde_json::from_str(schema).unwrap();
    let mut found = Vec::new();
    check(&root, &root, value, "", &mut found);
    found
}

fn check(root: &Value, schema: &Value, value: &Value, at: &str, found: &mut Vec<String>) {
    if let Some(name) = schema["$ref"].as_str() {
        let target = root.pointer(name.trim_start_matches('#')).unwrap();
        return check(root, target, value, at, found);
    }
    if !kind_fits(&schema["type"], value) {
        found.push(format!("{at}: not of type {}", schema["type"]));
        return;
    }
    if schema["enum"].as_array().is_some_and(|allowed| !allowed.contains(value)) {
        found.push(format!("{at}: {value} is none of {}", schema["enum"]));
    }
    if schema.get("const").is_some_and(|only| only != value) {
        found.push(format!("{at}: {value} is not {}", schema["const"]));
    }
    if let Some(items) = value.as_array() {
        for (i, item) in items.iter().enumerate() {
            check(root, &schema["items"], item, &format!("{at}/{i}"), found);
        }
    }
    if value.is_object() {
        object(root, schema, value, at, found);
    }
}

fn object(root: &Value, schema: &Value, value: &Value, at: &str, found: &mut Vec<String>) {
    let fields = value.as_object().unwrap();
    for required in schema["required"].as_array().into_iter().flatten() {
        if !fields.contains_key(required.as_str().unwrap()) {
            found.push(format!("{at}: {required} is missing"));
        }
    }
    for (key, field) in fields {
        let at = format!("{at}/{key}");
        match (&schema["properties"][key], &schema["additionalProperties"]) {
            (Value::Null, Value::Bool(false)) => found.push(format!("{at}: not known")),
            (Value::Null, other) => check(root, other, field, &at, found),
            (known, _) => check(root, known, field, &at, found),
        }
    }
}

fn kind_fits(kind: &Value, value: &Value) -> bool {
    let fits = |name: &str| match name {
        "object" => value.is_object(),
        "array" => value.is_array(),
        "string" => value.is_string(),
        "number" => value.is_number(),
        "integer" => value.is_u64() || value.is_i64(),
        "boolean" => value.is_boolean(),
        "null" => value.is_null(),
        _ => false,
    };
    match kind {
        Value::String(name) => fits(name),
        Value::Array(names) => names.iter().any(|name| fits(name.as_str().unwrap())),
        _ => true,
    }
}
