//! What can go wrong with a trace file.

use std::io;
use std::path::{Path, PathBuf};

/// A trace file cannot be written or read.
#[derive(Debug, thiserror::Error)]
pub enum TraceError {
    /// The system refused to read or write.
    #[error("cannot {doing} `{}`: {source}", path.display())]
    Io {
        /// The file.
        path: PathBuf,
        /// `read` or `write`.
        doing: &'static str,
        /// What the system said.
        source: io::Error,
    },
    /// What a run needs for a while does not fit into memory, and the system keeps no temporary
    /// file.
    #[error("the temporary file that judging it needs: {source}")]
    Scratch {
        /// What the system said.
        source: io::Error,
    },
    /// The name's ending is of neither format.
    #[error("`{}` has no known ending, a trace ends in `.csv` or `.mcap`", path.display())]
    Ending {
        /// The file.
        path: PathBuf,
    },
    /// MCAP, and this program was built without it.
    #[error("`{}` is MCAP, this program was built without it (feature `mcap`)", path.display())]
    NoMcap {
        /// The file.
        path: PathBuf,
    },
    /// The file begins as a trace but ends too early.
    #[error("`{}` is truncated: {detail}", path.display())]
    Truncated {
        /// The file.
        path: PathBuf,
        /// What is missing.
        detail: String,
    },
    /// The file is no trace of this program.
    #[error("`{}` is no trace: {detail}", path.display())]
    Foreign {
        /// The file.
        path: PathBuf,
        /// What gives it away.
        detail: String,
    },
    /// The file is a trace, but something in it cannot be.
    #[error("`{}` is damaged: {detail}", path.display())]
    Damaged {
        /// The file.
        path: PathBuf,
        /// What cannot be.
        detail: String,
    },
    /// The values are not those that were written.
    #[error("`{}` was changed after it was written: its values have the hash `{found}`, written was `{written}`", path.display())]
    Hash {
        /// The file.
        path: PathBuf,
        /// Hash that the file carries.
        written: String,
        /// Hash of the values in it.
        found: String,
    },
}

impl TraceError {
    /// Whether results could not be written (the disk or the folder is at fault, not the input).
    pub fn is_write(&self) -> bool {
        matches!(self, Self::Io { doing: "write", .. })
    }
}

/// What is wrong with a file's content, before its path is known.
#[derive(Debug)]
pub(super) enum Flaw {
    Io(io::Error),
    Truncated(String),
    Foreign(String),
    Damaged(String),
    Hash { written: String, found: String },
}

impl Flaw {
    /// The same as an error about reading `path`.
    pub(super) fn of(self, path: &Path) -> TraceError {
        let path = path.to_owned();
        match self {
            Self::Io(source) => TraceError::Io {
                path,
                doing: "read",
                source,
            },
            Self::Truncated(detail) => TraceError::Truncated { path, detail },
            Self::Foreign(detail) => TraceError::Foreign { path, detail },
            Self::Damaged(detail) => TraceError::Damaged { path, detail },
            Self::Hash { written, found } => TraceError::Hash {
                path,
                written,
                found,
            },
        }
    }
}

impl From<io::Error> for Flaw {
    fn from(error: io::Error) -> Self {
        Self::Io(error)
    }
}
