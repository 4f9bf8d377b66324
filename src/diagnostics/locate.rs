//! Where a value stands in a TOML text.

use std::ops::Range;

use toml::Spanned;
use toml::de::{DeTable, DeValue};

/// Byte span of the value at a dotted key path, `None` if the text is no TOML or has no such value.
///
/// An array's entry is named by its index: `pitch.cartridge.breakout_n_m`, `do[3].at_s`,
/// `stick.mass.frame[0].at_m[2]`. The span of a `[table]` is its header's.
pub fn locate(text: &str, path: &str) -> Option<Range<usize>> {
    let root = DeTable::parse(text).ok()?;
    let steps = steps(path)?;
    let (first, rest) = steps.split_first()?;
    let PathStep::Key(first) = first else {
        return None;
    };
    let mut value = root.get_ref().get(*first)?;
    for step in rest {
        value = child(value, step)?;
    }
    Some(value.span())
}

/// As [`locate`], but if there is no such value, the span of the nearest table or array round it.
pub(crate) fn locate_nearest(text: &str, path: &str) -> Option<Range<usize>> {
    let mut path = path;
    loop {
        if let Some(span) = locate(text, path) {
            return Some(span);
        }
        let cut = path.rfind(['.', '['])?;
        path = &path[..cut];
    }
}

/// What [`find_within`] looks for.
#[derive(Clone, Copy)]
pub(crate) enum Sought<'a> {
    /// A key of this name.
    Key(&'a str),
    /// A string value of this text.
    Text(&'a str),
}

/// Span of the only such thing in the text or, if there are more, of the only one that begins
/// within `within`; `None` if there is none or still more than one.
pub(crate) fn find_within(
    text: &str,
    sought: Sought<'_>,
    within: &Range<usize>,
) -> Option<Range<usize>> {
    let root = DeTable::parse(text).ok()?;
    let mut found = Vec::new();
    collect(root.get_ref(), sought, &mut found);
    // What stands alone in the text is meant even if the reader named only a header.
    if let [only] = found.as_slice() {
        return Some(only.clone());
    }
    found.retain(|span| within.contains(&span.start));
    match found.as_slice() {
        [only] => Some(only.clone()),
        _ => None,
    }
}

enum PathStep<'a> {
    Key(&'a str),
    Index(usize),
}

fn steps(path: &str) -> Option<Vec<PathStep<'_>>> {
    let mut steps = Vec::new();
    for part in path.split('.') {
        let mut pieces = part.split('[');
        let key = pieces.next()?;
        if key.is_empty() {
            return None;
        }
        steps.push(PathStep::Key(key));
        for piece in pieces {
            steps.push(PathStep::Index(piece.strip_suffix(']')?.parse().ok()?));
        }
    }
    Some(steps)
}

fn child<'a, 'i>(
    value: &'a Spanned<DeValue<'i>>,
    step: &PathStep<'_>,
) -> Option<&'a Spanned<DeValue<'i>>> {
    match (value.get_ref(), step) {
        (DeValue::Table(table), PathStep::Key(key)) => table.get(*key),
        (DeValue::Array(array), PathStep::Index(index)) => array.get(*index),
        _ => None,
    }
}

fn collect(table: &DeTable<'_>, sought: Sought<'_>, found: &mut Vec<Range<usize>>) {
    for (key, value) in table {
        if matches!(sought, Sought::Key(name) if key.get_ref() == name) {
            found.push(key.span());
        }
        collect_in(value, sought, found);
    }
}

fn collect_in(value: &Spanned<DeValue<'_>>, sought: Sought<'_>, found: &mut Vec<Range<usize>>) {
    match value.get_ref() {
        DeValue::Table(table) => collect(table, sought, found),
        DeValue::Array(array) => {
            for entry in array.iter() {
                collect_in(entry, sought, found);
            }
        }
        DeValue::String(string) if matches!(sought, Sought::Text(text) if string == text) => {
            found.push(value.span());
        }
        _ => {}
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const TEXT: &str = "name = \"a\"\n[pitch.cartridge]\nbreakout_n_m = -1.5\n[[do]]\nat_s = 0\n[[do]]\nat_s = 0.25\nat_m = [1.0, 2.0]\n";

    fn found(path: &str) -> Option<&'static str> {
        locate(TEXT, path).map(|span| &TEXT[span])
    }

    #[test]
    fn values_are_found_by_path() {
        assert_eq!(found("name"), Some("\"a\""));
        assert_eq!(found("pitch.cartridge.breakout_n_m"), Some("-1.5"));
        assert_eq!(found("do[1].at_s"), Some("0.25"));
        assert_eq!(found("do[1].at_m[1]"), Some("2.0"));
        assert_eq!(found("pitch.cartridge"), Some("[pitch.cartridge]"));
    }

    #[test]
    fn what_is_not_there_is_not_found() {
        for path in [
            "",
            "nam",
            "name.x",
            "do[2].at_s",
            "do.at_s",
            "do[x]",
            "do[1",
            "pitch[0]",
            ".",
        ] {
            assert_eq!(found(path), None, "{path}");
        }
        assert_eq!(locate("a = = 1", "a"), None);
    }

    #[test]
    fn a_missing_value_falls_back_on_its_table() {
        assert_eq!(
            locate_nearest(TEXT, "pitch.cartridge.rate").map(|s| &TEXT[s]),
            Some("[pitch.cartridge]")
        );
        assert_eq!(locate_nearest(TEXT, "nothing.at.all"), None);
    }

    #[test]
    fn keys_and_texts_are_found() {
        let found =
            |sought, within: Range<usize>| find_within(TEXT, sought, &within).map(|s| &TEXT[s]);
        assert_eq!(
            found(Sought::Key("breakout_n_m"), 0..3),
            Some("breakout_n_m")
        );
        assert_eq!(found(Sought::Text("a"), 0..3), Some("\"a\""));
        assert_eq!(found(Sought::Text("name"), 0..TEXT.len()), None);
        assert_eq!(found(Sought::Key("at_s"), 0..TEXT.len()), None);
        let from = TEXT.find("at_s = 0.25").unwrap();
        let span = find_within(TEXT, Sought::Key("at_s"), &(from..TEXT.len()));
        assert_eq!(span, Some(from..from + 4));
    }
}
