//! A board as a target of the harness.

use crate::board_link::Link;
use crate::error::LinkError;
use crate::pool::BoardPool;
use std::sync::Arc;
use trimproof_controller::Settings;
use trimproof_harness::rig::RigFile;
use trimproof_harness::run::{Cause, Ending, Target, TargetError, Traffic};
use trimproof_io::{Inputs, Outputs};

/// A board under test. Dropped in mid-run it ends the run, or trips the board.
pub struct BoardTarget {
    link: Result<Link, LinkError>,
    pool: Option<Arc<BoardPool>>,
    settings: Option<Settings>,
    run: Option<u16>,
    /// The link failed in this run: it does not go back to the pool.
    failed: bool,
    /// Whether a broken run is tripped rather than ended.
    trips: bool,
    /// Said once, whether by `end` or by dropping.
    over: bool,
}

impl BoardTarget {
    /// The board at the end of a link.
    pub fn new(link: Link) -> Self {
        Self::of_pool(Ok(link), None, false)
    }

    /// A board of a pool, which gets its link back after a good run; a pool that has none gives its
    /// error at the beginning of the run.
    pub(crate) fn of_pool(
        mut link: Result<Link, LinkError>,
        pool: Option<Arc<BoardPool>>,
        trips: bool,
    ) -> Self {
        if let Ok(link) = &mut link {
            link.take_traffic();
        }
        Self {
            link,
            pool,
            settings: None,
            run: None,
            failed: false,
            trips,
            over: true,
        }
    }

    fn start(&mut self, settings: Settings) -> Result<(), TargetError> {
        self.over = false;
        self.run = Some(self.with_link(|link| link.begin(&settings))?);
        self.settings = Some(settings);
        Ok(())
    }

    fn with_link<T>(
        &mut self,
        work: impl FnOnce(&mut Link) -> Result<T, LinkError>,
    ) -> Result<T, TargetError> {
        let done = match &mut self.link {
            Ok(link) => work(link),
            Err(error) => Err(error.clone()),
        };
        done.map_err(|error| {
            self.failed = true;
            target_error(&error)
        })
    }
}

impl BoardPool {
    /// A target for one run. If there is no board for it, its run fails at once.
    pub fn target(self: &Arc<Self>) -> Box<dyn Target> {
        let trips = self.is_on_port();
        Box::new(BoardTarget::of_pool(
            self.link(),
            Some(Arc::clone(self)),
            trips,
        ))
    }
}

impl Target for BoardTarget {
    fn identity(&self) -> String {
        match &self.link {
            Ok(link) => link.greeting().identity.as_str().to_owned(),
            Err(_) => "no board".to_owned(),
        }
    }

    fn begin(&mut self, rig: &RigFile) -> Result<(), TargetError> {
        self.start(rig.settings()?)
    }

    fn tick(&mut self, inputs: &Inputs) -> Result<Outputs, TargetError> {
        let run = self.run.ok_or(TargetError::NotBegun)?;
        self.with_link(|link| link.tick(run, inputs))
    }

    fn reset(&mut self) -> Result<(), TargetError> {
        self.start(self.settings.ok_or(TargetError::NotBegun)?)
    }

    fn end(&mut self, how: Ending) -> Option<String> {
        if std::mem::replace(&mut self.over, true) {
            return None;
        }
        let link = self.link.as_mut().ok()?;
        if self.trips && (how == Ending::Broken || self.failed) {
            return Some(match link.trip() {
                Ok(()) => "the board has confirmed the trip: its motors are off".to_owned(),
                Err(error) => {
                    self.failed = true;
                    format!(
                        "the board has not confirmed the trip ({error}): switch the motor supply off before you go near the stick"
                    )
                }
            });
        }
        if self.failed {
            return None;
        }
        let ended = link.end(self.run?);
        if let Err(error) = ended {
            self.failed = true;
            return Some(format!(
                "the board has not confirmed the end of the run ({error})"
            ));
        }
        None
    }

    fn traffic(&self) -> Option<Traffic> {
        self.link.as_ref().ok().map(Link::traffic)
    }
}

impl Drop for BoardTarget {
    fn drop(&mut self) {
        self.end(Ending::Broken);
        if let Some(pool) = self.pool.take()
            && !self.failed
        {
            let link = std::mem::replace(&mut self.link, Err(LinkError::Reset));
            if let Ok(link) = link {
                pool.give_back(link);
            }
        }
    }
}

fn target_error(error: &LinkError) -> TargetError {
    if *error == LinkError::Stopped {
        return TargetError::Stopped;
    }
    TargetError::Link {
        cause: Cause::new(error.clone()),
        help: error.help(),
    }
}
