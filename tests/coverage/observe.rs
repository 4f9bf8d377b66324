//! A run with everything that went to and came from the controller.

use std::cell::RefCell;
use std::rc::Rc;
use std::sync::Arc;

use trimproof_controller::{Inputs, Outputs, Settings};
use trimproof_harness::run::{Attend, LogicTarget, Target, TargetError, run_attended};
use trimproof_harness::suite::Case;
use trimproof_harness::trace::Row;
use trimproof_plant::Rig;

/// What a run left.
pub struct Recording {
    /// The rig that was run.
    pub rig: Arc<Rig>,
    /// One row a tick.
    pub rows: Vec<Row>,
    /// What the controller answered in each tick; `None` if nothing got through.
    pub answers: Vec<Option<Outputs>>,
    /// Ticks at which the controller started again.
    pub resets: Vec<usize>,
}

#[derive(Default)]
struct Heard {
    answers: Vec<Option<Outputs>>,
    resets: Vec<usize>,
}

/// The controller, with an ear on its line.
struct Listened {
    inner: LogicTarget,
    heard: Rc<RefCell<Heard>>,
}

impl Target for Listened {
    fn identity(&self) -> String {
        self.inner.identity()
    }

    fn begin(&mut self, settings: &Settings) -> Result<(), TargetError> {
        self.inner.begin(settings)
    }

    fn tick(&mut self, inputs: &Inputs) -> Result<Outputs, TargetError> {
        let outputs = self.inner.tick(inputs)?;
        let mut heard = self.heard.borrow_mut();
        let tick = inputs.tick as usize;
        while heard.answers.len() < tick {
            heard.answers.push(None);
        }
        heard.answers.push(Some(outputs));
        Ok(outputs)
    }

    fn reset(&mut self) -> Result<(), TargetError> {
        self.inner.reset()?;
        let mut heard = self.heard.borrow_mut();
        let tick = heard.answers.len();
        heard.resets.push(tick);
        Ok(())
    }
}

struct Rows(Vec<Row>);

impl Attend for Rows {
    fn go_on(&mut self, _now_s: f64) -> bool {
        true
    }

    fn row(&mut self, row: &Row) {
        self.0.push(*row);
    }
}

/// Runs a case and keeps everything.
pub fn record(case: &Case) -> Recording {
    let heard = Rc::new(RefCell::new(Heard::default()));
    let mut target = Listened {
        inner: LogicTarget::new(),
        heard: heard.clone(),
    };
    let mut rows = Rows(Vec::new());
    let run = run_attended(&case.rig, &case.scenario, &mut target, &mut rows);
    assert_eq!(run.cut, None, "{}", case.label());
    drop(target);
    let mut heard = heard.take();
    heard.answers.resize(rows.0.len(), None);
    Recording {
        rig: case.rig.clone(),
        rows: rows.0,
        answers: heard.answers,
        resets: heard.resets,
    }
}
