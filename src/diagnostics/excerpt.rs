//! Source text as it may be quoted with a caret under it.

use crate::is_invisible;
use std::ops::Range;

/// Longest line that is quoted whole, characters.
const LINE_MAX: usize = 200;

/// Most lines that a marked place may span; of a longer one the first line is marked.
const SPAN_LINES_MAX: usize = 8;

/// Source text that can be quoted, and the place in it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Excerpt {
    /// The text: as many lines as the source, in each of them as many characters, but what cannot
    /// be seen has a visible substitute. If a line is too long to be quoted, only what is round the
    /// marked place is kept, behind as many empty lines as there are before it.
    pub text: String,
    /// The marked place in `text`, bytes.
    pub span: Range<usize>,
    /// Number of the line on which the place begins, from 1.
    pub line: usize,
    /// Number of the character in that line at which the place begins, from 1.
    pub column: usize,
    /// Whether a line was too long, so that `text` has other columns than the source.
    pub is_cut: bool,
}

/// Makes source text fit to be quoted: every invisible character becomes **one** visible one, so
/// that a caret below still stands where it should. Controls become their pictures (U+2400 to
/// U+2421), all others U+FFFD. Line feeds, a carriage return before one, and tabs stay.
///
/// `span` is in bytes of `source`; what lies outside of it is moved inside.
pub fn excerpt(source: &str, span: Range<usize>) -> Excerpt {
    let start = floor(source, span.start.min(source.len()));
    let end = floor(source, span.end.clamp(start, source.len()));
    let before = &source[..start];
    let line_start = before.rfind('\n').map_or(0, |at| at + 1);
    let line = before.matches('\n').count() + 1;
    let column = source[line_start..start].chars().count() + 1;
    let end = if source[start..end].matches('\n').count() >= SPAN_LINES_MAX {
        start + source[start..end].find('\n').unwrap_or(end - start)
    } else {
        end
    };
    let last_line_end = source[end..].find('\n').map_or(source.len(), |at| end + at);
    // One line before and after is quoted with it.
    let from = source[..line_start.saturating_sub(1)]
        .rfind('\n')
        .map_or(0, |at| at + 1);
    let to = source
        .get(last_line_end + 1..)
        .map_or(source.len(), |rest| {
            rest.find('\n')
                .map_or(source.len(), |at| last_line_end + 1 + at)
        });
    let too_long = source[from..to]
        .split('\n')
        .any(|line| line.chars().take(LINE_MAX + 1).count() > LINE_MAX);
    if too_long {
        return window(source, (line, column), line_start..start, end);
    }
    let mut text = String::with_capacity(source.len());
    push_visible(&mut text, &source[..start], source[start..].chars().next());
    let marked = text.len();
    push_visible(&mut text, &source[start..end], source[end..].chars().next());
    let span = marked..text.len();
    push_visible(&mut text, &source[end..], None);
    Excerpt {
        text,
        span,
        line,
        column,
        is_cut: false,
    }
}

/// The surroundings of a place in a line that is too long; `before` is what stands before it in the
/// line.
fn window(
    source: &str,
    (line, column): (usize, usize),
    before: Range<usize>,
    end: usize,
) -> Excerpt {
    const MARK: &str = "...";
    let (line_start, start) = (before.start, before.end);
    let line_end = source[start..]
        .find('\n')
        .map_or(source.len(), |at| start + at);
    let end = end.min(line_end);
    let from = source[line_start..start]
        .char_indices()
        .rev()
        .nth(LINE_MAX / 4)
        .map_or(line_start, |(at, _)| line_start + at);
    let until = |from: usize, most: usize| {
        source[from..line_end]
            .char_indices()
            .nth(most)
            .map_or(line_end, |(at, _)| from + at)
    };
    let end = end.min(until(start, LINE_MAX / 4));
    let to = until(end, LINE_MAX / 4);
    let mut text = "\n".repeat(line - 1);
    if from > line_start {
        text.push_str(MARK);
    }
    push_visible(&mut text, &source[from..start], None);
    let marked = text.len();
    push_visible(&mut text, &source[start..end], None);
    let span = marked..text.len();
    push_visible(&mut text, &source[end..to], None);
    if to < line_end {
        text.push_str(MARK);
    }
    Excerpt {
        text,
        span,
        line,
        column,
        is_cut: true,
    }
}

/// Appends `text` with substitutes; `next` is the character behind it.
fn push_visible(out: &mut String, text: &str, next: Option<char>) {
    let mut chars = text.chars().peekable();
    while let Some(c) = chars.next() {
        let ends_line = c == '\r' && chars.peek().copied().or(next) == Some('\n');
        out.push(match c {
            '\n' | '\t' => c,
            '\r' if ends_line => c,
            '\0'..='\u{1f}' => char::from_u32(0x2400 + u32::from(c)).unwrap_or('\u{fffd}'),
            '\u{7f}' => '\u{2421}',
            c if is_invisible(c) => '\u{fffd}',
            c => c,
        });
    }
}

/// The nearest character boundary at or before a byte.
fn floor(text: &str, mut at: usize) -> usize {
    while !text.is_char_boundary(at) {
        at -= 1;
    }
    at
}
