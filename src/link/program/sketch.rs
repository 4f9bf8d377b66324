//! `.ino` files as one C++ source: joined, with prototypes in front of the first function, so that
//! a function may be called above its definition.

use std::fmt::Write as _;

/// One file of a sketch.
pub(super) struct SketchFile<'a> {
    /// Path, as messages name it.
    pub path: &'a str,
    /// Its text.
    pub text: &'a str,
}

/// The files as one source. Lines keep their numbers in messages.
pub(super) fn joined(files: &[SketchFile<'_>]) -> String {
    let prototypes: Vec<String> = files
        .iter()
        .flat_map(|file| definitions(file.text))
        .map(|found| found.head)
        .collect();
    let mut out = String::new();
    let mut is_declared = false;
    for file in files {
        let first = definitions(file.text).into_iter().next();
        let (before, after) = match first {
            Some(first) if !is_declared => file.text.split_at(first.at),
            _ => (file.text, ""),
        };
        place(&mut out, 1, file.path);
        out.push_str(before);
        if !after.is_empty() || (!is_declared && before.len() < file.text.len()) {
            is_declared = true;
            out.push('\n');
            for prototype in &prototypes {
                let _ = writeln!(out, "{prototype};");
            }
            place(&mut out, 1 + before.matches('\n').count(), file.path);
            // What stands in front of the function in its line is in the text before.
            out.push_str(after);
        }
        out.push('\n');
    }
    out
}

fn place(out: &mut String, line: usize, path: &str) {
    let path = path.replace('\\', "\\\\").replace('"', "\\\"");
    let _ = writeln!(out, "#line {line} \"{path}\"");
}

/// The head of a function's definition, and where it begins.
struct Definition {
    head: String,
    at: usize,
}

/// Words with which something else than a function begins.
const OTHERS: [&str; 10] = [
    "struct",
    "class",
    "enum",
    "union",
    "namespace",
    "template",
    "extern",
    "typedef",
    "using",
    "else",
];

/// The functions that a text defines at its outermost level, but for those of a class and those
/// with default arguments, whose prototype would say them twice.
fn definitions(text: &str) -> Vec<Definition> {
    let plain = blanked(text);
    let mut found = Vec::new();
    let (mut depth, mut begin) = (0_usize, 0);
    for (at, byte) in plain.bytes().enumerate() {
        match byte {
            b'{' => {
                if depth == 0 {
                    let head = &plain[begin..at];
                    if is_function(head) {
                        let skipped = head.len() - head.trim_start().len();
                        found.push(Definition {
                            head: head.split_whitespace().collect::<Vec<_>>().join(" "),
                            at: begin + skipped,
                        });
                    }
                }
                depth += 1;
            }
            b'}' => {
                depth = depth.saturating_sub(1);
                if depth == 0 {
                    begin = at + 1;
                }
            }
            b';' if depth == 0 => begin = at + 1,
            _ => {}
        }
    }
    found
}

fn is_function(head: &str) -> bool {
    let head = head.trim();
    let first = head
        .split(|c: char| !c.is_alphanumeric() && c != '_')
        .next();
    let Some((before, _)) = head.split_once('(') else {
        return false;
    };
    // A type and a name.
    let words = before.split(|c: char| c.is_whitespace() || c == '*' || c == '&');
    head.ends_with(')')
        && words.filter(|word| !word.is_empty()).count() >= 2
        && !head.contains(['=', '#'])
        && !before.contains("::")
        && !before.contains("operator")
        && first.is_some_and(|word| !OTHERS.contains(&word))
}

/// The text with comments, strings and lines of the preprocessor blanked, byte for byte.
fn blanked(text: &str) -> String {
    let bytes = text.as_bytes();
    let mut out = bytes.to_vec();
    let mut at = 0;
    let mut is_line_start = true;
    while at < bytes.len() {
        let rest = &bytes[at..];
        let length = if rest.starts_with(b"//") {
            rest.iter()
                .position(|byte| *byte == b'\n')
                .unwrap_or(rest.len())
        } else if rest.starts_with(b"/*") {
            let end = rest.windows(2).skip(2).position(|two| two == b"*/");
            end.map_or(rest.len(), |end| end + 4)
        } else if rest[0] == b'"' || rest[0] == b'\'' {
            literal(rest)
        } else if rest[0] == b'#' && is_line_start {
            directive(rest)
        } else {
            is_line_start = rest[0] == b'\n' || (is_line_start && rest[0].is_ascii_whitespace());
            at += 1;
            continue;
        };
        for byte in &mut out[at..at + length] {
            if *byte != b'\n' {
                *byte = b' ';
            }
        }
        at += length;
    }
    // Only whole literals and comments were blanked; should that have cut a letter, it is shown.
    String::from_utf8_lossy(&out).into_owned()
}

/// Length of a literal in quotes, or of what is left of its line.
fn literal(rest: &[u8]) -> usize {
    let quote = rest[0];
    let mut at = 1;
    while at < rest.len() && rest[at] != b'\n' {
        match rest[at] {
            b'\\' => at += 2,
            byte if byte == quote => return at + 1,
            _ => at += 1,
        }
    }
    at.min(rest.len())
}

/// Length of a line of the preprocessor, with those that it goes on in.
fn directive(rest: &[u8]) -> usize {
    let mut at = 0;
    while at < rest.len() {
        if rest[at] == b'\n' && !rest[..at].ends_with(b"\\") && !rest[..at].ends_with(b"\\\r") {
            return at;
        }
        at += 1;
    }
    rest.len()
}

#[cfg(test)]
mod tests {
    use super::*;

    const SKETCH: &str = "// void no() {}\n#include <x.h>\n#define M(a) \\\n  f(a) {\nstruct S { int f() { return 1; } };\nenum Mode { ON, OFF };\nconst int TABLE[] = { 1, 2 };\nMode mode = ON;\nvoid setup() { later(2, \"}{\"); }\nvoid loop() {\n  if (later(1, \"\")) { }\n}\nbool later(int a, const char *text) { return a > '{'; }\nint twice(int a = 2) { return 2 * a; }\nint S::g() { return 2; }\nstatic unsigned long *p(void)\n{ return 0; }\n";

    #[test]
    fn functions_are_found_and_nothing_else() {
        let heads: Vec<_> = definitions(SKETCH)
            .into_iter()
            .map(|one| one.head)
            .collect();
        assert_eq!(
            heads,
            [
                "void setup()",
                "void loop()",
                "bool later(int a, const char *text)",
                "static unsigned long *p(void)"
            ]
        );
    }

    #[test]
    fn prototypes_stand_before_the_first_function_and_lines_keep_their_numbers() {
        let second = "int other() { return 3; }\n";
        let files = [("a/b.ino", SKETCH), ("a/c.ino", second)];
        let files = files.map(|(path, text)| SketchFile { path, text });
        let out = joined(&files);
        let setup = out.find("void setup() {").unwrap();
        for prototype in [
            "void loop();",
            "int other();",
            "bool later(int a, const char *text);",
        ] {
            assert!(out[..setup].contains(prototype), "{prototype}: {out}");
        }
        // `setup` stands in line 9 of the file.
        assert!(out[..setup].ends_with("#line 9 \"a/b.ino\"\n"), "{out}");
        assert!(out.contains("#line 1 \"a/c.ino\"\nint other()"), "{out}");
        assert_eq!(out.matches("#line").count(), 3);
    }

    #[test]
    fn any_text_is_taken() {
        for text in [
            "",
            "{",
            "}}}",
            "\"",
            "/*",
            "#",
            "'\\",
            "void f(",
            "ü void f() { \"ß",
        ] {
            joined(&[SketchFile {
                path: "x.ino",
                text,
            }]);
        }
    }
}
