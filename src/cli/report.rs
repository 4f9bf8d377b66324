//! What goes wrong, told to the user: what, where in which file, and what would help.

use crate::exit::Exit;
use crate::output::Paint;
use miette::{
    GraphicalReportHandler, GraphicalTheme, LabeledSpan, MietteDiagnostic, NamedSource, Report,
    ThemeCharacters, ThemeStyles,
};
use std::io::Write;
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
            Failure::Link(_) => Exit::Target,
            Failure::Twin { .. } => Exit::Twin,
            Failure::CannotWrite { .. } => Exit::CannotWrite,
        }
    }
}

impl From<LinkError> for Failure {
    fn from(error: LinkError) -> Self {
        Failure::Link(error)
    }
}

impl From<Problem> for Failure {
    fn from(problem: Problem) -> Self {
        Failure::Files(vec![problem])
    }
}

/// Prints a failure to standard error.
pub fn print(failure: &Failure, paint: Paint) {
    // If standard error is gone there is nobody left to tell.
    let _ = std::io::stderr()
        .lock()
        .write_all(render(failure, paint.err).as_bytes());
}

fn render(failure: &Failure, colour: bool) -> String {
    match failure {
        Failure::Files(problems) => {
            let mut out: String = problems
                .iter()
                .map(|problem| render_problem(problem, colour))
                .collect();
            let count = problems.len();
            out.push_str(&format!(
                "{count} error{}; nothing was run\n",
                if count == 1 { "" } else { "s" }
            ));
            out
        }
        Failure::Argument { message, help } => render_plain(message, help.as_deref()),
        Failure::Link(error) => render_plain(&error.to_string(), error.help().as_deref()),
        Failure::Twin { what, abort } => render_plain(
            &format!("{what}: the twin cannot compute it: {abort}"),
            Some(
                "the rig's numbers are beyond what the equations hold for; `trimproof size` shows the rig's margins",
            ),
        ),
        Failure::CannotWrite { what, why } => {
            render_plain(&format!("cannot write {what}: {why}"), None)
        }
    }
}

fn render_plain(message: &str, help: Option<&str>) -> String {
    let help = help.map_or_else(String::new, |help| format!("  help: {help}\n"));
    format!("error: {message}\n{help}")
}

fn render_problem(problem: &Problem, colour: bool) -> String {
    let name = problem.file.display().to_string();
    let (Some(text), Some(span)) = (&problem.text, &problem.error.span) else {
        return render_plain(
            &format!("{name}: {}", problem.error.message),
            problem.error.help.as_deref(),
        );
    };
    // A span outside the text would make the renderer give up; the last byte is the best place left.
    let start = span.start.min(text.len().saturating_sub(1));
    let end = span.end.clamp(start, text.len());
    let mut diagnostic = MietteDiagnostic::new(problem.error.message.clone())
        .with_label(LabeledSpan::new(None, start, end - start));
    if let Some(help) = &problem.error.help {
        diagnostic = diagnostic.with_help(help.clone());
    }
    let report =
        Report::new(diagnostic).with_source_code(NamedSource::new(&name, text.to_string()));
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
        Ok(()) => format!("error: {}\n", out.trim_start()),
        Err(_) => render_plain(
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
    use trimproof_plant::FileError;

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
}
