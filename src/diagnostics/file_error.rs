//! What is wrong with a rig or scenario file, and where.

use std::ops::Range;

use crate::locate::{Sought, find_within, locate_nearest};

/// One thing that is wrong with a text file that a user wrote.
///
/// It knows nothing of the file's name: whoever read the file adds that.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("{message}")]
pub struct FileError {
    /// What is wrong: lower case, the offending value in backticks, the valid range named.
    pub message: String,
    /// What would put it right, where that can be said.
    pub help: Option<String>,
    /// Bytes of the text that it is about; `None` when it is about the text as a whole.
    pub span: Option<Range<usize>>,
}

impl FileError {
    /// An error about the text as a whole.
    pub fn new(message: impl Into<String>) -> Self {
        Self {
            message: message.into(),
            help: None,
            span: None,
        }
    }

    /// An error about the value at `path` in the TOML `text`, or about the nearest table round it
    /// if there is no such value. See [`locate()`](crate::locate()) for the form of a path.
    pub fn at(text: &str, path: &str, message: impl Into<String>) -> Self {
        Self {
            span: locate_nearest(text, path),
            ..Self::new(message)
        }
    }

    /// The same error with a help line.
    pub fn with_help(self, help: impl Into<String>) -> Self {
        Self {
            help: Some(help.into()),
            ..self
        }
    }

    /// The same error about these bytes of the text.
    pub fn with_span(self, span: Range<usize>) -> Self {
        Self {
            span: Some(span),
            ..self
        }
    }

    /// The same error with its span moved by `offset` bytes: for a text that stands inside another.
    pub fn moved_by(self, offset: usize) -> Self {
        Self {
            span: self.span.map(|span| span.start + offset..span.end + offset),
            ..self
        }
    }

    /// Puts an error of the TOML reader into our words: an unknown key or choice offers the
    /// nearest known one, and points at the key itself.
    pub fn from_toml(text: &str, error: &toml::de::Error) -> Self {
        let raw = error.message();
        let span = error.span();
        let names = backticked(raw);
        let Some((first, known)) = names.split_first() else {
            return Self {
                span,
                ..Self::new(plain(raw))
            };
        };
        if raw.starts_with("unknown field") {
            let within = span.clone().unwrap_or(0..text.len());
            let span = find_within(text, Sought::Key(first), &within).or(span);
            let help = offer(first, known, "key");
            return Self {
                message: format!("unknown key `{first}`"),
                help,
                span,
            };
        }
        if raw.starts_with("unknown variant") {
            let within = span.clone().unwrap_or(0..text.len());
            let span = find_within(text, Sought::Text(first), &within).or(span);
            let help = offer(first, known, "choice");
            return Self {
                message: format!("unknown choice `{first}`"),
                help,
                span,
            };
        }
        if raw.starts_with("missing field") {
            // At the top there is no table whose header could be pointed at.
            return Self {
                span: span.filter(|span| !span.is_empty()),
                ..Self::new(format!("missing key `{first}`"))
            };
        }
        Self {
            span,
            ..Self::new(plain(raw))
        }
    }
}

/// Longest name for which a near one is sought, characters.
const NAME_MAX: usize = 120;

/// The name among `known` that is nearest to `name`, if one is near enough to be meant.
///
/// Near enough is an edit distance (with transpositions) of at most a third of the name's length,
/// at least 1; or a name of which `name` is a beginning.
pub fn nearest<'a>(name: &str, known: impl IntoIterator<Item = &'a str>) -> Option<&'a str> {
    let length = name.chars().count();
    // No name of ours is half as long, and the distance of a long text takes long.
    if length > NAME_MAX {
        return None;
    }
    let allowed = (length / 3).max(1);
    known
        .into_iter()
        .map(|candidate| {
            let distance = strsim::damerau_levenshtein(name, candidate);
            let begun = name.len() >= 3 && candidate.starts_with(name);
            (
                if begun {
                    distance.min(allowed)
                } else {
                    distance
                },
                candidate,
            )
        })
        .filter(|(distance, _)| *distance <= allowed)
        .min_by_key(|(distance, _)| *distance)
        .map(|(_, candidate)| candidate)
}

/// The help line for a name that is not among `known`.
fn offer(name: &str, known: &[&str], noun: &str) -> Option<String> {
    if known.is_empty() {
        return Some(format!("no {noun} may stand here"));
    }
    let list = known
        .iter()
        .map(|name| format!("`{name}`"))
        .collect::<Vec<_>>()
        .join(", ");
    Some(match nearest(name, known.iter().copied()) {
        Some(near) => format!("did you mean `{near}`? known here: {list}"),
        None => format!("known here: {list}"),
    })
}

/// Every text between a pair of backticks.
fn backticked(message: &str) -> Vec<&str> {
    message.split('`').skip(1).step_by(2).collect()
}

/// The reader's message without the names of machine types.
fn plain(message: &str) -> String {
    const WORDS: [(&str, &str); 8] = [
        ("expected f64", "expected a number"),
        ("expected u8", "expected a whole number of 0 or more"),
        (
            "expected u16",
            "expected a whole number of 0 or more, at most 65535",
        ),
        ("expected u32", "expected a whole number of 0 or more"),
        ("expected u64", "expected a whole number of 0 or more"),
        ("expected i32", "expected a whole number"),
        ("expected i64", "expected a whole number"),
        ("expected a sequence", "expected a list in brackets"),
    ];
    let known = WORDS.iter().find(|(machine, _)| message.ends_with(machine));
    let words = known.map_or_else(
        || message.to_owned(),
        |(machine, plain)| message.replace(machine, plain),
    );
    lower_first(&words)
}

fn lower_first(text: &str) -> String {
    let mut chars = text.chars();
    match chars.next() {
        // "TOML ..." keeps its capitals.
        Some(first) if !chars.as_str().starts_with(char::is_uppercase) => {
            first.to_lowercase().chain(chars).collect()
        }
        _ => text.to_owned(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[derive(Debug, serde::Deserialize)]
    #[serde(deny_unknown_fields)]
    struct Outer {
        #[serde(rename = "mass_kg")]
        _mass_kg: f64,
        #[serde(rename = "kind")]
        _kind: Kind,
    }

    #[derive(Debug, serde::Deserialize)]
    #[serde(tag = "what", rename_all = "lowercase", deny_unknown_fields)]
    enum Kind {
        Push {
            #[serde(rename = "newtons")]
            _newtons: f64,
        },
        Pull {},
    }

    fn error_of(text: &str) -> FileError {
        FileError::from_toml(text, &toml::from_str::<Outer>(text).unwrap_err())
    }

    #[test]
    fn an_unknown_key_is_pointed_at_and_the_nearest_offered() {
        let text = "mass_kgs = 1.0\nkind = { what = \"pull\" }\n";
        let error = error_of(text);
        assert_eq!(error.message, "unknown key `mass_kgs`");
        assert_eq!(&text[error.span.unwrap()], "mass_kgs");
        assert!(error.help.unwrap().starts_with("did you mean `mass_kg`?"));
    }

    #[test]
    fn an_unknown_key_inside_a_tagged_table_is_pointed_at() {
        let text = "mass_kg = 1.0\nkind = { what = \"push\", newton = 3.0 }\n";
        let error = error_of(text);
        assert_eq!(error.message, "unknown key `newton`");
        assert_eq!(&text[error.span.unwrap()], "newton");
        assert!(error.help.unwrap().starts_with("did you mean `newtons`?"));
    }

    #[test]
    fn an_unknown_choice_lists_the_choices() {
        let text = "mass_kg = 1.0\nkind = { what = \"pul\" }\n";
        let error = error_of(text);
        assert_eq!(error.message, "unknown choice `pul`");
        assert_eq!(
            error.help.unwrap(),
            "did you mean `pull`? known here: `push`, `pull`"
        );
    }

    #[test]
    fn a_missing_key_is_named() {
        assert_eq!(error_of("mass_kg = 1.0\n").message, "missing key `kind`");
    }

    #[test]
    fn machine_types_are_put_into_words() {
        let error = error_of("mass_kg = \"1 kg\"\nkind = { what = \"pull\" }\n");
        assert_eq!(
            error.message,
            "invalid type: string \"1 kg\", expected a number"
        );
    }

    #[test]
    fn nothing_near_offers_nothing() {
        assert_eq!(nearest("zebra", ["mass_kg", "inertia"]), None);
        assert_eq!(
            nearest("brekaout_n_m", ["breakout_n_m", "rate_n_m"]),
            Some("breakout_n_m")
        );
    }

    /// A formula's error, put into the file in which the formula stands.
    #[test]
    fn an_error_moves_with_its_text() {
        let error = FileError::new("m").with_span(2..5).moved_by(10);
        assert_eq!(error.span, Some(12..15));
        assert_eq!(FileError::new("m").moved_by(10).span, None);
    }

    /// A third of the name's length may differ, one character at least; a beginning of three
    /// characters is enough.
    #[test]
    fn a_name_is_near_within_a_third_of_its_length() {
        assert_eq!(nearest("abcdef", ["abcdxy"]), Some("abcdxy"));
        assert_eq!(nearest("abcdef", ["abcxyz"]), None);
        assert_eq!(nearest("abcde", ["abcdx"]), Some("abcdx"));
        assert_eq!(nearest("abcde", ["abcxy"]), None);
        assert_eq!(nearest("a", ["b"]), Some("b"));
        assert_eq!(nearest("sti", ["stiction_n_m"]), Some("stiction_n_m"));
        assert_eq!(nearest("st", ["stiction_n_m"]), None);
        // The nearest of several; a beginning counts as a name that is just near enough.
        assert_eq!(nearest("abcdef", ["abcdxy", "abcdex"]), Some("abcdex"));
        assert_eq!(nearest("abcdef", ["abcdef_more", "abcdex"]), Some("abcdex"));
        assert_eq!(
            nearest("abcdef", ["abcdefg", "abcdef_more"]),
            Some("abcdefg")
        );
        // Long texts are not compared.
        let long = "x".repeat(120);
        assert_eq!(nearest(&long, [long.as_str()]), Some(long.as_str()));
        let longer = "x".repeat(121);
        assert_eq!(nearest(&longer, [longer.as_str()]), None);
    }

    #[test]
    fn a_table_without_keys_takes_none() {
        assert_eq!(
            offer("a", &[], "key").as_deref(),
            Some("no key may stand here")
        );
        assert_eq!(
            offer("zebra", &["b"], "key").as_deref(),
            Some("known here: `b`")
        );
    }

    #[test]
    fn the_readers_words_are_put_into_ours() {
        for (machine, ours) in [
            (
                "Invalid type: x, expected u16",
                "invalid type: x, expected a whole number of 0 or more, at most 65535",
            ),
            ("expected i32", "expected a whole number"),
            ("expected a sequence", "expected a list in brackets"),
            ("TOML is broken", "TOML is broken"),
            ("Unexpected end", "unexpected end"),
            ("", ""),
        ] {
            assert_eq!(plain(machine), ours);
        }
        assert_eq!(backticked("a `b` c `d`"), ["b", "d"]);
    }
}
