//! Checks a TOML text against a JSON Schema that schemars made, so that every error points at the
//! very key or value at fault. The TOML reader alone loses the place inside tagged tables.

use std::cell::RefCell;

use serde_json::Value;
use toml::Spanned;
use toml::de::{DeTable, DeValue};
use trimproof_diagnostics::{FileError, nearest};

/// Checks keys, types, choices and ranges of `text` against `schema`.
///
/// Understands what schemars makes of structs, internally tagged enums, plain enums, options,
/// lists, numbers, strings and booleans, with `minimum`, `maximum`, `exclusiveMinimum`,
/// `min`/`maxLength` and `min`/`maxItems`. Numbers must be finite; a string with a least length
/// must not be blank.
///
/// Gives everything that is wrong, in the order in which it is met; of a text that is no TOML the
/// first thing.
fn check_whole(text: &str, schema: &Value) -> Vec<FileError> {
    let document = match DeTable::parse(text) {
        Ok(document) => document,
        Err(error) => return vec![FileError::from_toml(text, &error)],
    };
    let walker = Walker {
        root: schema,
        noted: RefCell::default(),
    };
    walker.take(walker.table(document.get_ref(), None, schema, ""));
    walker.noted.into_inner()
}

/// Reads a strict file of at most `most_bytes`: its keys, types, choices and ranges against `schema`,
/// then its strings, then the whole.
///
/// # Errors
/// Everything that is wrong, in the order of the text.
pub(crate) fn read<T: serde::de::DeserializeOwned>(
    text: &str,
    schema: &Value,
    most_bytes: usize,
) -> Result<T, Vec<FileError>> {
    if text.len() > most_bytes {
        let message = format!(
            "the file has `{}` bytes, it may have at most {most_bytes}",
            text.len()
        );
        return Err(vec![FileError::new(message)]);
    }
    let faults = check_whole(text, schema);
    if !faults.is_empty() {
        return Err(in_order(faults));
    }
    trimproof_diagnostics::check_strings(text).map_err(|fault| vec![fault])?;
    toml::from_str(text).map_err(|error| vec![FileError::from_toml(text, &error)])
}

/// Faults in the order of the text; those about the text as a whole, such as a missing key, come
/// last.
pub(crate) fn in_order(mut faults: Vec<FileError>) -> Vec<FileError> {
    faults.sort_by_key(|fault| match &fault.span {
        Some(span) => (span.start, span.end),
        None => (usize::MAX, usize::MAX),
    });
    faults
}

/// The first thing that [`check_whole`] finds.
///
/// # Errors
/// That thing.
pub(crate) fn check(text: &str, schema: &Value) -> Result<(), FileError> {
    check_whole(text, schema)
        .into_iter()
        .next()
        .map_or(Ok(()), Err)
}

struct Walker<'a> {
    root: &'a Value,
    noted: RefCell<Vec<FileError>>,
}

type Span = std::ops::Range<usize>;

impl<'a> Walker<'a> {
    fn take(&self, checked: Result<(), FileError>) {
        if let Err(fault) = checked {
            self.noted.borrow_mut().push(fault);
        }
    }

    /// Follows references and takes the non-null side of an option.
    fn resolve(&self, schema: &'a Value) -> &'a Value {
        if let Some(reference) = schema["$ref"].as_str() {
            let pointer = reference.trim_start_matches('#');
            return self
                .root
                .pointer(pointer)
                .map_or(schema, |target| self.resolve(target));
        }
        if let Some(sides) = schema["anyOf"].as_array() {
            let side = sides.iter().find(|side| side["type"] != "null");
            return side.map_or(schema, |side| self.resolve(side));
        }
        schema
    }

    fn value(
        &self,
        value: &Spanned<DeValue<'_>>,
        schema: &'a Value,
        key: &str,
    ) -> Result<(), FileError> {
        let span = value.span();
        let about = schema["description"].as_str();
        let schema = self.resolve(schema);
        let about = about.or(schema["description"].as_str());
        let expected = kind_of(schema);
        let wrong = || {
            let message = format!(
                "`{key}` is {}, it must be {}",
                found(value.get_ref()),
                with_article(expected)
            );
            with_about(FileError::new(message).with_span(span.clone()), about)
        };
        match (value.get_ref(), expected) {
            (DeValue::Table(table), "table") => self.table(table, Some(span.clone()), schema, key),
            (DeValue::Array(array), "list") => {
                check_count(array.len(), schema, "minItems", "maxItems").map_err(|rule| {
                    describe(
                        format!("`{key}` has `{}` entries, it must have {rule}", array.len()),
                        span.clone(),
                        about,
                    )
                })?;
                for (index, entry) in array.iter().enumerate() {
                    self.take(self.value(entry, &schema["items"], &format!("{key}[{index}]")));
                }
                Ok(())
            }
            (DeValue::String(text), "choice") => {
                let choices = choices(schema);
                if choices.contains(&text.as_ref()) {
                    return Ok(());
                }
                let error = FileError::new(format!("`{text}` is no choice for `{key}`"));
                Err(error.with_help(offer(text, &choices)).with_span(span))
            }
            (DeValue::String(text), "string") => {
                if schema["minLength"].as_u64().unwrap_or(0) > 0 && text.trim().is_empty() {
                    return Err(describe(format!("`{key}` is empty"), span, about));
                }
                let length = text.chars().count();
                check_count(length, schema, "minLength", "maxLength").map_err(|rule| {
                    describe(
                        format!("`{key}` has `{length}` characters, it must have {rule}"),
                        span,
                        about,
                    )
                })
            }
            (DeValue::Boolean(_), "boolean") => Ok(()),
            (DeValue::Integer(integer), "integer" | "number") => {
                let number =
                    i128::from_str_radix(integer.as_str(), integer.radix()).map_err(|_| wrong())?;
                check_number(number as f64, &number.to_string(), schema).map_err(|rule| {
                    describe(
                        format!("`{key}` is `{integer}`, it must be {rule}"),
                        span,
                        about,
                    )
                })
            }
            (DeValue::Float(float), "number") => {
                let number: f64 = float.as_str().parse().map_err(|_| wrong())?;
                check_number(number, float.as_str(), schema).map_err(|rule| {
                    describe(
                        format!("`{key}` is `{float}`, it must be {rule}"),
                        span,
                        about,
                    )
                })
            }
            _ => Err(wrong()),
        }
    }

    /// `span` is the table's place, `None` for the whole text.
    fn table(
        &self,
        table: &DeTable<'_>,
        span: Option<Span>,
        schema: &'a Value,
        key: &str,
    ) -> Result<(), FileError> {
        let schema = match tag_of(schema) {
            Some(tag) => self.variant(table, span.clone(), schema, tag, key)?,
            None => schema,
        };
        let properties = schema["properties"].as_object();
        let known: Vec<&str> = properties
            .into_iter()
            .flat_map(|map| map.keys().map(String::as_str))
            .collect();
        // The reader sorts keys by name; report in the order of the text.
        let mut entries: Vec<_> = table.iter().collect();
        entries.sort_by_key(|(name, _)| name.span().start);
        let within = if key.is_empty() {
            String::new()
        } else {
            format!(" in `{}`", key)
        };
        for (name, _) in &entries {
            if !known.contains(&name.get_ref().as_ref()) {
                let error = FileError::new(format!("unknown key `{}`{within}", name.get_ref()));
                self.take(Err(error
                    .with_help(offer(name.get_ref(), &known))
                    .with_span(name.span())));
            }
        }
        let required = schema["required"]
            .as_array()
            .into_iter()
            .flatten()
            .filter_map(Value::as_str);
        // A name that is hardly misspelt is reported once, as an unknown key.
        let misspelt = |name: &str| {
            let given = entries.iter().map(|(given, _)| given.get_ref().as_ref());
            given
                .filter(|given| !known.contains(given))
                .any(|given| nearest(given, [name]).is_some())
        };
        for name in required {
            if !table.contains_key(name) && !misspelt(name) {
                let error = FileError {
                    span: span.clone(),
                    ..FileError::new(format!("missing key `{name}`{within}"))
                };
                self.take(Err(with_about(
                    error,
                    schema["properties"][name]["description"].as_str(),
                )));
            }
        }
        for (name, value) in entries {
            let name = name.get_ref().as_ref();
            let key = if key.is_empty() {
                name.to_owned()
            } else {
                format!("{key}.{name}")
            };
            let property = &schema["properties"][name];
            if !property.is_null() {
                self.take(self.value(value, property, &key));
            }
        }
        Ok(())
    }

    /// The schema of the variant that the table's tag names.
    fn variant(
        &self,
        table: &DeTable<'_>,
        span: Option<Span>,
        schema: &'a Value,
        tag: &'a str,
        key: &str,
    ) -> Result<&'a Value, FileError> {
        let variants = schema["oneOf"].as_array().into_iter().flatten();
        let named: Vec<(&str, &Value)> = variants
            .filter_map(|variant| Some((variant["properties"][tag]["const"].as_str()?, variant)))
            .collect();
        let names: Vec<&str> = named.iter().map(|(name, _)| *name).collect();
        let Some(value) = table.get(tag) else {
            let error = FileError {
                span,
                ..FileError::new(format!("missing key `{tag}` in `{}`", key))
            };
            return Err(error.with_help(format!("choices for `{tag}`: {}", listed(&names))));
        };
        let Some(name) = value.get_ref().as_str() else {
            let error = FileError::new(format!(
                "`{key}.{tag}` is {}, it must be a string",
                found(value.get_ref())
            ));
            return Err(error
                .with_help(format!("choices: {}", listed(&names)))
                .with_span(value.span()));
        };
        named
            .iter()
            .find(|(known, _)| *known == name)
            .map(|(_, variant)| *variant)
            .ok_or_else(|| {
                let error = FileError::new(format!("`{name}` is no choice for `{key}.{tag}`"));
                error.with_help(offer(name, &names)).with_span(value.span())
            })
    }
}

/// Key that distinguishes the variants of an internally tagged enum; `None` for any other schema.
fn tag_of(schema: &Value) -> Option<&str> {
    let first = schema["oneOf"].as_array()?.first()?;
    let mut properties = first["properties"].as_object()?.iter();
    properties
        .find(|(_, property)| property.get("const").is_some())
        .map(|(name, _)| name.as_str())
}

/// The strings that a plain enum allows.
fn choices(schema: &Value) -> Vec<&str> {
    let mut all = Vec::new();
    for one in schema["oneOf"]
        .as_array()
        .into_iter()
        .flatten()
        .chain([schema])
    {
        all.extend(one["const"].as_str());
        all.extend(
            one["enum"]
                .as_array()
                .into_iter()
                .flatten()
                .filter_map(Value::as_str),
        );
    }
    all
}

/// What a resolved schema asks for, in our words.
fn kind_of(schema: &Value) -> &'static str {
    if tag_of(schema).is_some() {
        return "table";
    }
    if !choices(schema).is_empty() {
        return "choice";
    }
    let kind = &schema["type"];
    // An option's type is a list with `null` in it.
    let kind = kind
        .as_array()
        .and_then(|kinds| kinds.iter().find(|kind| *kind != "null"))
        .unwrap_or(kind);
    match kind.as_str() {
        Some("object") => "table",
        Some("array") => "list",
        Some("string") => "string",
        Some("integer") => "integer",
        Some("number") => "number",
        Some("boolean") => "boolean",
        _ => "value of another kind",
    }
}

fn with_article(kind: &str) -> String {
    match kind {
        "boolean" => "`true` or `false`".to_owned(),
        "choice" => "a string".to_owned(),
        "integer" => "a whole number".to_owned(),
        other => format!("a {other}"),
    }
}

/// What stands in the file, in our words.
fn found(value: &DeValue<'_>) -> String {
    match value {
        DeValue::String(text) => format!("the string `{text}`"),
        DeValue::Integer(integer) => format!("the number `{integer}`"),
        DeValue::Float(float) => format!("the number `{float}`"),
        DeValue::Boolean(boolean) => format!("`{boolean}`"),
        DeValue::Datetime(datetime) => format!("the date or time `{datetime}`"),
        DeValue::Array(_) => "a list".to_owned(),
        DeValue::Table(_) => "a table".to_owned(),
    }
}

/// Checks a number's limits; `Err` says what it must be.
fn check_number(number: f64, text: &str, schema: &Value) -> Result<(), String> {
    let integer = kind_of(schema) == "integer";
    let (above, min, max) = (
        schema["exclusiveMinimum"].as_f64(),
        schema["minimum"].as_f64(),
        schema["maximum"].as_f64(),
    );
    let fits = number.is_finite()
        && above.is_none_or(|above| number > above)
        && min.is_none_or(|min| number >= min)
        && max.is_none_or(|max| number <= max)
        // What the reader can hold: a TOML integer has 64 bits.
        && (!integer || text.parse::<i128>().is_ok_and(|number| i64::try_from(number).is_ok()));
    if fits {
        return Ok(());
    }
    Err(
        match (above.map(|above| format!("above {above}")), min, max) {
            (Some(above), _, Some(max)) => format!("{above} and at most {max}"),
            (Some(above), _, None) => above,
            (None, Some(min), Some(max)) => format!("{min} to {max}"),
            (None, Some(min), None) if integer => format!("{min} to {}", i64::MAX),
            (None, Some(min), None) => format!("finite and at least {min}"),
            (None, None, Some(max)) => format!("finite and at most {max}"),
            (None, None, None) if integer => format!("{} to {}", i64::MIN, i64::MAX),
            (None, None, None) => "finite".to_owned(),
        },
    )
}

/// Checks a length; `Err` says what it must be.
fn check_count(count: usize, schema: &Value, min_key: &str, max_key: &str) -> Result<(), String> {
    let (min, max) = (schema[min_key].as_u64(), schema[max_key].as_u64());
    if min.is_some_and(|min| (count as u64) < min) {
        return Err(format!("at least {}", min.unwrap_or(0)));
    }
    if max.is_some_and(|max| count as u64 > max) {
        return Err(format!("at most {}", max.unwrap_or(0)));
    }
    Ok(())
}

fn describe(message: String, span: Span, about: Option<&str>) -> FileError {
    with_about(FileError::new(message).with_span(span), about)
}

/// Adds what the key means, as its documentation says.
fn with_about(error: FileError, about: Option<&str>) -> FileError {
    match about {
        Some(about) => error.with_help(format!("what it is: {}", about.replace('\n', " "))),
        None => error,
    }
}

fn listed(names: &[&str]) -> String {
    names
        .iter()
        .map(|name| format!("`{name}`"))
        .collect::<Vec<_>>()
        .join(", ")
}

fn offer(name: &str, known: &[&str]) -> String {
    match (known, nearest(name, known.iter().copied())) {
        ([], _) => "nothing may stand here".to_owned(),
        (_, Some(near)) => format!("did you mean `{near}`? known here: {}", listed(known)),
        (_, None) => format!("known here: {}", listed(known)),
    }
}
