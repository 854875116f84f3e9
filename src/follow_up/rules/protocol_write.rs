//! A protocol as the text of a protocol file, for export and for editing by hand. What it writes,
//! `Protocol::from_toml` reads back unchanged.

use std::fmt::Write;

use serde_json::Value;

use super::protocol::Protocol;

impl Protocol {
    /// As a TOML file.
    pub fn to_toml(&self) -> String {
        let mut text = String::new();
        let Value::Object(fields) = self.to_json() else { return text };
        for name in ["id", "title", "version", "source", "year", "address", "standing", "note"] {
            field(&mut text, name, fields.get(name));
        }
        let steps = fields.get("steps").and_then(Value::as_array);
        for step in steps.into_iter().flatten() {
            text.push_str("\n[[steps]]\n");
            for name in ["id", "title", "anchor", "shape", "offset", "from", "to", "repeat", "mode", "when", "note"] {
                field(&mut text, name, step.get(name));
            }
        }
        text
    }
}

/// One line; nothing for a field that is not there. Writing into a String cannot fail.
fn field(text: &mut String, name: &str, value: Option<&Value>) {
    if let Some(value) = value {
        let _ = writeln!(text, "{name} = {}", written(value));
    }
}

fn written(value: &Value) -> String {
    match value {
        // JSON's escapes are all escapes of TOML too; only the delete character must not stand as it is.
        Value::String(_) => value.to_string().replace('\u{7f}', "\\u007F"),
        Value::Array(items) => format!("[{}]", items.iter().map(written).collect::<Vec<_>>().join(", ")),
        Value::Object(fields) => {
            let fields: Vec<String> =
                fields.iter().map(|(name, value)| format!("{name} = {}", written(value))).collect();
            format!("{{ {} }}", fields.join(", "))
        }
        other => other.to_string(),
    }
}
