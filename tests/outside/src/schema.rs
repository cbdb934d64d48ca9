//! The schemas in `docs/schema/`, ready to judge documents by an independent validator (crate `boon`).

use boon::{Compiler, SchemaIndex, Schemas};
use serde_json::Value;

use crate::program::top;

/// A schema that judges.
pub(crate) struct Judge(Schemas, SchemaIndex);

impl Judge {
    pub(crate) fn new(name: &str) -> Self {
        let path = top().join(format!("docs/schema/{name}.schema.json"));
        let mut compiler = Compiler::new();
        compiler.enable_format_assertions();
        let mut schemas = Schemas::new();
        let path = path.to_str().expect("a plain path");
        let index = compiler.compile(path, &mut schemas).expect("a valid schema of draft 2020-12");
        Self(schemas, index)
    }

    /// Judges a document.
    pub(crate) fn judge(&self, document: &Value) -> Result<(), String> {
        self.0.validate(document, self.1).map_err(|error| format!("{error:#}"))
    }

    /// Judges a document as it is printed.
    pub(crate) fn judge_text(&self, text: &str) -> Result<Value, String> {
        if !text.ends_with("}\n") {
            return Err("a document ends with a brace and a line end".to_owned());
        }
        let document: Value = serde_json::from_str(text).map_err(|error| error.to_string())?;
        self.judge(&document).map(|()| document)
    }
}
