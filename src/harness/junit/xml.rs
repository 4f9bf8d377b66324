//! A small writer of XML 1.0. Foreign text is made visible here: in attributes as one line of
//! bounded length, in text line by line.

use std::fmt::Write;

use trimproof_diagnostics::{MESSAGE_MAX, brief, lines};

/// Writes elements one inside another, two spaces deeper each.
pub(super) struct Writer {
    out: String,
    depth: usize,
}

/// Names and values of an element's attributes.
pub(super) type Attributes<'a> = Vec<(&'a str, &'a str)>;

/// Attributes in the order in which they are written.
pub(super) fn attributes<'a, const N: usize>(pairs: [(&'a str, &'a str); N]) -> Attributes<'a> {
    pairs.to_vec()
}

impl Writer {
    /// A document with nothing but its declaration.
    pub fn new() -> Self {
        Self {
            out: "<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n".to_owned(),
            depth: 0,
        }
    }

    /// Opens an element.
    pub fn open(&mut self, name: &str, attributes: &[(&str, &str)]) {
        self.head(name, attributes);
        self.out.push_str(">\n");
        self.depth += 1;
    }

    /// Closes the element that was opened last.
    pub fn close(&mut self, name: &str) {
        self.depth = self.depth.saturating_sub(1);
        let _ = writeln!(self.out, "{:1$}</{name}>", "", 2 * self.depth);
    }

    /// An element without contents.
    pub fn empty(&mut self, name: &str, attributes: &[(&str, &str)]) {
        self.head(name, attributes);
        self.out.push_str("/>\n");
    }

    /// An element with text alone.
    pub fn text(&mut self, name: &str, attributes: &[(&str, &str)], text: &str) {
        self.head(name, attributes);
        self.out.push('>');
        escape_into(&mut self.out, &lines(text), false);
        let _ = writeln!(self.out, "</{name}>");
    }

    /// The whole document.
    pub fn finish(self) -> String {
        self.out
    }

    fn head(&mut self, name: &str, attributes: &[(&str, &str)]) {
        let _ = write!(self.out, "{:1$}<{name}", "", 2 * self.depth);
        for (name, value) in attributes {
            let _ = write!(self.out, " {name}=\"");
            escape_into(&mut self.out, &brief(value, MESSAGE_MAX), true);
            self.out.push('"');
        }
    }
}

/// Text with what means something to XML written as references. A character that XML 1.0 cannot
/// carry (section 2.2 of its specification, production `Char`) becomes U+FFFD.
fn escape_into(out: &mut String, text: &str, attribute: bool) {
    for c in text.chars() {
        match c {
            '&' => out.push_str("&amp;"),
            '<' => out.push_str("&lt;"),
            '>' => out.push_str("&gt;"),
            '"' if attribute => out.push_str("&quot;"),
            // A reader would turn these into spaces, or one into another.
            '\t' | '\n' if attribute => {
                let _ = write!(out, "&#{};", u32::from(c));
            }
            '\r' => out.push_str("&#13;"),
            c if is_xml(c) => out.push(c),
            _ => out.push('\u{fffd}'),
        }
    }
}

fn is_xml(c: char) -> bool {
    matches!(c, '\t' | '\n' | '\r' | '\u{20}'..='\u{d7ff}' | '\u{e000}'..='\u{fffd}' | '\u{10000}'..)
}
