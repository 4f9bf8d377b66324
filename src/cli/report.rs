//! Messages to the user about what goes wrong: what, where in which file, and what would help.

use crate::exit::Exit;
use crate::output::{NotWritten, Paint, say};
use miette::{
    GraphicalReportHandler, GraphicalTheme, LabeledSpan, MietteDiagnostic, NamedSource, Report,
    ThemeCharacters, ThemeStyles,
};
use std::fmt;
use trimproof_diagnostics::{MESSAGE_MAX, brief, excerpt, line};
use trimproof_harness::suite::{Problem, plain};
use trimproof_link::LinkError;
use trimproof_plant::TwinAbort;

/// Width of messages, characters.
const WIDTH: usize = 100;

/// Why a command cannot do what was asked.
#[derive(Debug)]
pub enum Failure {
    /// Files that cannot be used.
    Files(Vec<Problem>),
    /// An argument that cannot be used.
    Argument {
        /// What is wrong.
        message: String,
        /// What would help.
        help: Option<String>,
    },
    /// A board that cannot be spoken to.
    Link(LinkError),
    /// A run that the twin cannot compute.
    Twin {
        /// What was to be done.
        what: String,
        /// Instant, part and reason.
        abort: TwinAbort,
    },
    /// A result that cannot be written.
    CannotWrite {
        /// Which result.
        what: String,
        /// Why.
        why: String,
    },
}

/// How a command ends: an exit code, or a failure to be reported.
pub type CommandResult = Result<Exit, Failure>;

impl Failure {
    /// A place for results that cannot be written.
    pub fn cannot_write(what: impl Into<String>, error: &std::io::Error) -> Self {
        Self::CannotWrite {
            what: what.into(),
            why: plain(error),
        }
    }

    /// The exit code that it ends in.
    pub fn exit(&self) -> Exit {
        match self {
            Failure::Files(_) | Failure::Argument { .. } => Exit::Unusable,
            Failure::Link(error) if error.is_usage() => Exit::Unusable,
            Failure::Link(LinkError::Stopped) => Exit::Stopped,
            Failure::Link(_) => Exit::Target,
            Failure::Twin { .. } => Exit::Twin,
            Failure::CannotWrite { .. } => Exit::CannotWrite,
        }
    }
}

impl fmt::Display for Failure {
    /// In one line, without help.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Failure::Files(problems) => write!(f, "{} files cannot be used", problems.len()),
            Failure::Argument { message, .. } => f.write_str(message),
            Failure::Link(error) => error.fmt(f),
            Failure::Twin { what, abort } => {
                write!(f, "{what}: the twin cannot compute it: {abort}")
            }
            Failure::CannotWrite { what, why } => write!(f, "cannot write {what}: {why}"),
        }
    }
}

impl From<LinkError> for Failure {
    fn from(error: LinkError) -> Self {
        Failure::Link(error)
    }
}

impl From<NotWritten> for Failure {
    fn from(NotWritten { what, why }: NotWritten) -> Self {
        Failure::CannotWrite { what, why }
    }
}

impl From<Problem> for Failure {
    fn from(problem: Problem) -> Self {
        Failure::Files(vec![problem])
    }
}

/// Prints a failure to standard error.
pub fn print(failure: &Failure, paint: Paint) {
    say(&render(failure, paint.err));
}

/// Prints on standard error what is allowed but hardly meant.
pub fn warn(problems: &[Problem], paint: Paint) {
    for problem in problems {
        say(&render_problem(problem, "warning", paint.err));
    }
}

fn render(failure: &Failure, colour: bool) -> String {
    match failure {
        Failure::Files(problems) => {
            let mut out: String = problems
                .iter()
                .map(|problem| render_problem(problem, "error", colour))
                .collect();
            let count = problems.len();
            out.push_str(&format!(
                "{count} error{}; nothing was run\n",
                if count == 1 { "" } else { "s" }
            ));
            out
        }
        Failure::Argument { message, help } => render_plain("error", message, help.as_deref()),
        Failure::Link(error) => render_plain("error", &error.to_string(), error.help().as_deref()),
        Failure::Twin { what, abort } => render_plain(
            "error",
            &format!("{what}: the twin cannot compute it: {abort}"),
            Some(
                "the rig's numbers are beyond what the equations hold for; `trimproof size` shows the rig's margins",
            ),
        ),
        Failure::CannotWrite { what, why } => {
            render_plain("error", &format!("cannot write {what}: {why}"), None)
        }
    }
}

/// A message and a help line: one line each, whatever is quoted in them. `word` is `error` or
/// `warning`.
fn render_plain(word: &str, message: &str, help: Option<&str>) -> String {
    let help = help.map_or_else(String::new, |help| {
        format!("  help: {}\n", brief(help, MESSAGE_MAX))
    });
    format!("{word}: {}\n{help}", brief(message, MESSAGE_MAX))
}

/// `word` is `error` or `warning`.
fn render_problem(problem: &Problem, word: &str, colour: bool) -> String {
    let name = problem.file.display().to_string();
    let name = line(&name);
    let (Some(text), Some(span)) = (&problem.text, &problem.error.span) else {
        return render_plain(
            word,
            &format!("{name}: {}", problem.error.message),
            problem.error.help.as_deref(),
        );
    };
    let quoted = excerpt(text, span.clone());
    // A span at the end of the text would make the renderer give up; the last byte is the best
    // place left.
    let last = quoted
        .text
        .char_indices()
        .next_back()
        .map_or(0, |(at, _)| at);
    let start = quoted.span.start.min(last);
    let end = quoted.span.end.max(start);
    let message = brief(&problem.error.message, MESSAGE_MAX);
    let mut diagnostic = MietteDiagnostic::new(message.as_ref()).with_label(LabeledSpan::new(
        None,
        start,
        end - start,
    ));
    if let Some(help) = &problem.error.help {
        diagnostic = diagnostic.with_help(brief(help, MESSAGE_MAX));
    }
    // The renderer counts columns in what it is given, which may be a part of the line.
    let counted = quoted.text[..start]
        .chars()
        .rev()
        .take_while(|c| *c != '\n');
    let counted = format!("[{name}:{}:{}]", quoted.line, counted.count() + 1);
    let place = quoted
        .is_cut
        .then(|| format!("[{name}:{}:{}, of a long line]", quoted.line, quoted.column));
    let report =
        Report::new(diagnostic).with_source_code(NamedSource::new(name.as_ref(), quoted.text));
    let styles = if colour {
        ThemeStyles::ansi()
    } else {
        ThemeStyles::none()
    };
    // The word `error` says it; no mark of the renderer beside it.
    let characters = ThemeCharacters {
        error: String::new(),
        ..ThemeCharacters::ascii()
    };
    let theme = GraphicalTheme { characters, styles };
    let mut out = String::new();
    match GraphicalReportHandler::new_themed(theme)
        .with_width(WIDTH)
        .render_report(&mut out, report.as_ref())
    {
        Ok(()) => {
            if let Some(place) = place {
                out = out.replacen(&counted, &place, 1);
            }
            format!("{word}: {}\n", out.trim_start())
        }
        Err(_) => render_plain(
            word,
            &format!("{name}: {}", problem.error.message),
            problem.error.help.as_deref(),
        ),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::path::Path;
    use std::sync::Arc;
    use trimproof_diagnostics::FileError;

    fn rendered(text: &str, span: std::ops::Range<usize>) -> String {
        let error = FileError::new("unknown key `mas`")
            .with_help("did you mean `mass`?")
            .with_span(span);
        let problem = Problem::within(Path::new("rigs/a.toml"), &Arc::from(text), error);
        render(&Failure::Files(vec![problem]), false)
    }

    #[test]
    fn a_place_is_shown_with_file_line_and_caret() {
        let text = rendered("name = \"a\"\nmas = 1\n", 11..14);
        for part in [
            "unknown key `mas`",
            "rigs/a.toml:2:1",
            "mas = 1",
            "^",
            "help: did you mean `mass`?",
            "1 error;",
        ] {
            assert!(text.contains(part), "`{part}` is missing in:\n{text}");
        }
    }

    #[test]
    fn a_place_outside_the_text_still_gives_the_message() {
        for text in ["", "x", "ä"] {
            assert!(rendered(text, 90..95).contains("unknown key `mas`"));
        }
    }

    #[test]
    fn a_quoted_line_forges_nothing_and_keeps_its_caret() {
        let source = "name = \"\u{1b}[2K\u{202e}x\"\rmas = 1\n";
        let at = source.find("mas").unwrap();
        let text = rendered(source, at..at + 3);
        let quoted = "name = \"\u{241b}[2K\u{fffd}x\"\u{240d}mas = 1";
        let column = quoted.find("mas").unwrap();
        let lines: Vec<&str> = text.lines().collect();
        let shown = lines.iter().position(|line| line.contains(quoted)).unwrap();
        let before = lines[shown].find(quoted).unwrap();
        let wanted = lines[shown][..before + column].chars().count();
        let caret = lines[shown + 1].find('^').unwrap();
        // The gutter of the caret's line is as wide.
        assert_eq!(lines[shown + 1][..caret].chars().count(), wanted, "{text}");
        assert!(text.contains("rigs/a.toml:1:"), "{text}");
    }

    #[test]
    fn the_place_in_a_long_line_is_the_one_in_the_file() {
        let source = format!("a = 1\n{}mas = 1\n", " ".repeat(5000));
        let text = rendered(&source, 5006..5009);
        assert!(
            text.contains("[rigs/a.toml:2:5001, of a long line]"),
            "{text}"
        );
        assert!(text.contains(" 2 | ..."), "{text}");
    }

    #[test]
    fn a_message_of_300_kilobytes_is_none() {
        let long = "x".repeat(300_000);
        let error = FileError::new(format!("unknown key `{long}`")).with_span(0..300_000);
        let file = Path::new("rigs/a.toml");
        for problem in [
            Problem::within(file, &Arc::from(format!("{long} = 1\n")), error.clone()),
            Problem::new(file, error),
        ] {
            let text = render(&Failure::Files(vec![problem]), false);
            assert!(text.len() < 4000, "{}", text.len());
            // The renderer may break the line between the words.
            assert!(text.contains("(2985"), "{text}");
        }
    }

    #[test]
    fn no_message_carries_what_cannot_be_seen() {
        use trimproof_diagnostics::{hostile_text, is_invisible};
        // Four texts each: 10,000 in all.
        for seed in 0..2_500 {
            let [a, b, c, source] = [0, 1, 2, 3].map(|part| hostile_text(4 * seed + part));
            let count = |failure: &Failure| {
                let text = render(failure, false);
                let hidden = text.chars().find(|c| *c != '\n' && is_invisible(*c));
                assert_eq!(hidden, None, "{seed}: {text:?}");
                text.lines().count()
            };
            let argument = Failure::Argument {
                message: a.clone(),
                help: Some(b.clone()),
            };
            assert_eq!(count(&argument), 2, "{seed}");
            let cannot = Failure::CannotWrite {
                what: a.clone(),
                why: b.clone(),
            };
            assert_eq!(count(&cannot), 1, "{seed}");
            let link = LinkError::NoPort {
                name: a.clone(),
                why: b.clone(),
            };
            assert_eq!(count(&Failure::Link(link)), 2, "{seed}");
            let error = FileError::new(a).with_help(b);
            let file = Path::new(&c);
            assert_eq!(
                count(&Problem::new(file, error.clone()).into()),
                3,
                "{seed}"
            );
            let from = seed as usize % 60;
            let error = error.with_span(from..from + seed as usize % 20);
            count(&Problem::within(file, &Arc::from(source.as_str()), error).into());
        }
    }
}
