//! Exit codes: one number for each way a command can end.

use std::process::ExitCode;
use trimproof_diagnostics::{MESSAGE_MAX, brief, line};

/// How a command ended; the discriminant is the exit code of the process.
///
/// `docs/guides/exit-codes.md` and the foot of `--help` list the same codes; `tests/cli.rs`
/// holds the three together.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[repr(u8)]
pub enum Exit {
    /// Every expectation passes, or both traces are equal.
    Pass = 0,
    /// An expectation fails, nothing of a run could be judged, or two traces differ.
    Fail = 1,
    /// An argument or a file cannot be used; nothing was run and nothing written.
    Unusable = 2,
    /// The controller under test failed or fell silent.
    Target = 3,
    /// A result cannot be written.
    CannotWrite = 4,
    /// The twin could not compute a run.
    Twin = 5,
    /// A bug in trimproof itself.
    Bug = 70,
    /// Stopped by Ctrl-C or a request to terminate.
    Stopped = 130,
}

impl Exit {
    /// Every way to end, in order of the code.
    pub const ALL: [Exit; 8] = [
        Exit::Pass,
        Exit::Fail,
        Exit::Unusable,
        Exit::Target,
        Exit::CannotWrite,
        Exit::Twin,
        Exit::Bug,
        Exit::Stopped,
    ];

    /// The number that the shell sees.
    pub const fn code(self) -> u8 {
        self as u8
    }

    /// Of two ways to end the one that decides: the guide's order, where 4 goes before 5 and 5
    /// before 3.
    pub fn worse(self, other: Exit) -> Exit {
        if self.rank() >= other.rank() {
            self
        } else {
            other
        }
    }

    /// Place in the order of [`Exit::worse`], rising.
    const fn rank(self) -> u8 {
        match self {
            Exit::Pass => 0,
            Exit::Fail => 1,
            Exit::Unusable => 2,
            Exit::Target => 3,
            Exit::Twin => 4,
            Exit::CannotWrite => 5,
            Exit::Stopped => 6,
            Exit::Bug => 7,
        }
    }

    /// One line for `--help` and the guide.
    pub const fn meaning(self) -> &'static str {
        match self {
            Exit::Pass => "every expectation passes, or both traces are equal",
            Exit::Fail => "an expectation fails, nothing could be judged, or the traces differ",
            Exit::Unusable => "an argument or a file cannot be used; nothing was run or written",
            Exit::Target => "the controller under test failed in mid-run, or its link did",
            Exit::CannotWrite => "a result cannot be written",
            Exit::Twin => "the twin could not compute a run; nothing of it was judged",
            Exit::Bug => "a bug in trimproof: please report it",
            Exit::Stopped => "stopped by Ctrl-C; what had finished is kept and listed",
        }
    }
}

impl From<Exit> for ExitCode {
    fn from(exit: Exit) -> ExitCode {
        ExitCode::from(exit.code())
    }
}

/// The list of exit codes as it stands at the foot of `--help`.
pub fn help_text() -> String {
    let mut text = String::from("Exit codes:\n");
    for exit in Exit::ALL {
        text.push_str(&format!("  {:>3}  {}\n", exit.code(), exit.meaning()));
    }
    text
}

/// Runs `work`; a panic inside it ends in [`Exit::Bug`] after a plain message on stderr.
pub fn guarded(work: impl FnOnce() -> Exit) -> Exit {
    std::panic::set_hook(Box::new(|panic| {
        let place = panic
            .location()
            .map_or_else(|| "an unknown place".to_owned(), ToString::to_string);
        let words = panic.payload_as_str().unwrap_or("no message");
        // What panicked may quote what others wrote.
        crate::output::say(&format!(
            "error: trimproof {} has a bug and cannot go on\n  what: {}\n  where: {}\n  \
             please report these lines with the command and the files you used\n",
            env!("CARGO_PKG_VERSION"),
            brief(words, MESSAGE_MAX),
            line(&place),
        ));
    }));
    std::panic::catch_unwind(std::panic::AssertUnwindSafe(work)).unwrap_or(Exit::Bug)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_panic_ends_in_the_code_for_our_own_bugs() {
        assert_eq!(guarded(|| panic!("made for this test")), Exit::Bug);
        assert_eq!(guarded(|| Exit::Fail), Exit::Fail);
    }

    /// The guide's order: 70 before 130, 130 before 4, 4 before 5, 5 before 3, 3 before 2, 2 before
    /// 1.
    #[test]
    fn the_worse_end_decides_whichever_comes_first() {
        let order = [70, 130, 4, 5, 3, 2, 1, 0].map(|code| {
            let found = Exit::ALL.into_iter().find(|exit| exit.code() == code);
            found.expect("every code of the order exists")
        });
        assert_eq!(order.len(), Exit::ALL.len());
        for (index, worse) in order.into_iter().enumerate() {
            for better in &order[index..] {
                assert_eq!(worse.worse(*better), worse);
                assert_eq!(better.worse(worse), worse);
            }
        }
    }

    #[test]
    fn the_guide_lists_every_code_in_the_same_words() {
        let guide = include_str!("../../docs/guides/exit-codes.md");
        for exit in Exit::ALL {
            let row = format!("| {} | {} |", exit.code(), exit.meaning());
            assert!(
                guide.contains(&row),
                "docs/guides/exit-codes.md lacks `{row}`"
            );
        }
    }
}
