//! `watch`, `fly` and `film`: the stick in three dimensions. Without the feature `viewer` they say
//! how to get it.

#[cfg(feature = "viewer")]
mod film;
#[cfg(feature = "viewer")]
mod fly;
#[cfg(feature = "viewer")]
mod subject;
#[cfg(feature = "viewer")]
mod watch;

#[cfg(feature = "viewer")]
pub use here::{film, fly, watch};

#[cfg(not(feature = "viewer"))]
pub use absent::{film, fly, watch};

#[cfg(feature = "viewer")]
mod here {
    pub use super::film::run as film;
    pub use super::fly::run as fly;
    pub use super::watch::run as watch;
    use crate::report::Failure;
    use trimproof_viewer::ViewError;

    impl From<ViewError> for Failure {
        fn from(error: ViewError) -> Self {
            match error {
                // Something may have been written before.
                ViewError::NoPicture { .. } | ViewError::Encoding(_) => Failure::CannotWrite {
                    what: "a picture".to_owned(),
                    why: error.to_string(),
                },
                _ => Failure::Argument {
                    message: error.to_string(),
                    help: error.help().map(str::to_owned),
                },
            }
        }
    }
}

#[cfg(not(feature = "viewer"))]
mod absent {
    use crate::args::{FilmArgs, FlyArgs, WatchArgs};
    use crate::output::Paint;
    use crate::report::{CommandResult, Failure};

    /// Says how to get it.
    pub fn watch(_: &WatchArgs) -> CommandResult {
        refuse("watch")
    }

    /// Says how to get it.
    pub fn fly(_: &FlyArgs, _: Paint) -> CommandResult {
        refuse("fly")
    }

    /// Says how to get it.
    pub fn film(_: &FilmArgs) -> CommandResult {
        refuse("film")
    }

    fn refuse(command: &str) -> CommandResult {
        Err(Failure::Argument {
            message: format!("`{command}` is not in this build: it was made without the view"),
            help: Some(format!(
                "build it with `cargo build --features viewer`, or run `cargo run --features viewer -- {command} ...`; docs/guides/view.md says what it needs"
            )),
        })
    }
}
