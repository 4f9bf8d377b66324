//! Formula text to tokens.

use std::ops::Range;

use trimproof_diagnostics::FileError;

/// One token and its bytes.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Token {
    pub kind: TokenKind,
    pub span: Range<usize>,
}

/// What a token is.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) enum TokenKind {
    Number(f64),
    /// A name or a word of the language: dotted, letters, digits and underscores.
    Name,
    /// An operator or a bracket.
    Symbol(&'static str),
    /// After the last token.
    End,
}

/// Longest first, so that `<=` is not read as `<`.
const SYMBOLS: [&str; 15] = [
    "<=", ">=", "==", "!=", "<", ">", "+", "-", "*", "/", "(", ")", "[", "]", ",",
];

/// What other notations write, and what is written here.
const FOREIGN: [(&str, &str); 13] = [
    ("≤", "write `<=`"),
    ("≥", "write `>=`"),
    ("->", "write `implies`"),
    ("&&", "write `and`"),
    ("||", "write `or`"),
    ("=>", "write `implies`"),
    ("&", "write `and`"),
    ("|", "write `or`, or `abs(...)` for a size"),
    ("!", "write `not`"),
    ("=", "write `==` for switches, `<=` or `>=` for numbers"),
    (".", "write a digit before the point, as in `0.5`"),
    ("^", "there are no powers: write `x * x`"),
    ("{", "group with round brackets"),
];

/// Splits a text into tokens; the last one is [`TokenKind::End`].
///
/// # Errors
/// A character that no formula contains, or a number that cannot be read.
pub(super) fn tokens(text: &str) -> Result<Vec<Token>, FileError> {
    let mut tokens = Vec::new();
    let mut at = 0;
    while let Some(first) = text[at..].chars().next() {
        let rest = &text[at..];
        if first.is_whitespace() {
            at += first.len_utf8();
            continue;
        }
        let (kind, length) = if first.is_ascii_digit() {
            number(rest, at)?
        } else if first.is_ascii_alphabetic() || first == '_' {
            (TokenKind::Name, name_length(rest))
        } else if rest.starts_with("->") {
            return Err(foreign(rest, first, at));
        } else if let Some(symbol) = SYMBOLS.iter().find(|symbol| rest.starts_with(**symbol)) {
            (TokenKind::Symbol(symbol), symbol.len())
        } else {
            return Err(foreign(rest, first, at));
        };
        tokens.push(Token {
            kind,
            span: at..at + length,
        });
        at += length;
    }
    tokens.push(Token {
        kind: TokenKind::End,
        span: text.len()..text.len(),
    });
    Ok(tokens)
}

fn number(rest: &str, at: usize) -> Result<(TokenKind, usize), FileError> {
    let bytes = rest.as_bytes();
    let digits = |from: usize| {
        from + bytes[from..]
            .iter()
            .take_while(|byte| byte.is_ascii_digit())
            .count()
    };
    let digit_at = |at: usize| bytes.get(at).is_some_and(u8::is_ascii_digit);
    let mut end = digits(0);
    if bytes.get(end) == Some(&b'.') && digit_at(end + 1) {
        end = digits(end + 1);
    }
    if matches!(bytes.get(end), Some(b'e' | b'E')) {
        let signed = usize::from(matches!(bytes.get(end + 1), Some(b'+' | b'-')));
        if digit_at(end + 1 + signed) {
            end = digits(end + 1 + signed);
        }
    }
    let tail = name_length(&rest[end..]);
    if tail > 0 {
        let (value, unit) = (&rest[..end], &rest[end..end + tail]);
        return Err(FileError::new(format!("`{value}{unit}` is not a number"))
            .with_help(format!(
                "write the number alone: units belong to the signals, so `{value}` and not `{value}{unit}`"
            ))
            .with_span(at..at + end + tail));
    }
    match rest[..end].parse::<f64>() {
        Ok(value) if value.is_finite() => Ok((TokenKind::Number(value), end)),
        _ => Err(
            FileError::new(format!("`{}` is too large a number", &rest[..end]))
                .with_help("numbers go up to about 1.8e308")
                .with_span(at..at + end),
        ),
    }
}

/// Bytes of the dotted name at the start of `rest`.
fn name_length(rest: &str) -> usize {
    let bytes = rest.as_bytes();
    let mut end = 0;
    while let Some(byte) = bytes.get(end) {
        let dot_inside = *byte == b'.'
            && end > 0
            && bytes
                .get(end + 1)
                .is_some_and(|next| next.is_ascii_alphabetic() || *next == b'_');
        let letter = byte.is_ascii_alphabetic() || *byte == b'_';
        if letter || dot_inside || (end > 0 && byte.is_ascii_digit()) {
            end += 1;
        } else {
            break;
        }
    }
    end
}

fn foreign(rest: &str, first: char, at: usize) -> FileError {
    match FOREIGN.iter().find(|(text, _)| rest.starts_with(text)) {
        Some((text, help)) => FileError::new(format!("`{text}` has no meaning in a formula"))
            .with_help(*help)
            .with_span(at..at + text.len()),
        None => FileError::new(format!(
            "`{}` has no meaning in a formula",
            first.escape_debug()
        ))
        .with_help("formulas are plain letters, digits, `. _ + - * / < <= > >= == != ( ) [ ] ,`")
        .with_span(at..at + first.len_utf8()),
    }
}
