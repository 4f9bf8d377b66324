//! A run with everything that went to and came from the controller.

use std::cell::RefCell;
use std::rc::Rc;
use std::sync::Arc;

use trimproof_harness::rig::RigFile;
use trimproof_harness::run::{Attend, LogicTarget, Target, TargetError, run_attended};
use trimproof_harness::suite::Case;
use trimproof_harness::trace::Row;
use trimproof_io::{Inputs, Outputs};

/// What a run left.
pub struct Recording {
    /// The rig that was run.
    pub rig: Arc<RigFile>,
    /// One row a tick.
    pub rows: Vec<Row>,
    /// What the controller answered in each tick; `None` if nothing got through.
    pub answers: Vec<Option<Outputs>>,
    /// Everything that went to the controller, in order.
    pub heard: Vec<Heard>,
    /// Ticks at which the controller started again.
    pub resets: Vec<usize>,
}

/// What went to the controller.
pub enum Heard {
    /// It starts again.
    Reset,
    /// A tick.
    Tick(Inputs),
}

#[derive(Default)]
struct Ear {
    answers: Vec<Option<Outputs>>,
    resets: Vec<usize>,
    heard: Vec<Heard>,
}

/// The controller, with an ear on its line.
struct Listened {
    inner: LogicTarget,
    ear: Rc<RefCell<Ear>>,
}

impl Target for Listened {
    fn identity(&self) -> String {
        self.inner.identity()
    }

    fn begin(&mut self, rig: &RigFile) -> Result<(), TargetError> {
        self.inner.begin(rig)
    }

    fn tick(&mut self, inputs: &Inputs) -> Result<Outputs, TargetError> {
        let outputs = self.inner.tick(inputs)?;
        let mut ear = self.ear.borrow_mut();
        let tick = inputs.tick as usize;
        while ear.answers.len() < tick {
            ear.answers.push(None);
        }
        ear.answers.push(Some(outputs));
        ear.heard.push(Heard::Tick(*inputs));
        Ok(outputs)
    }

    fn reset(&mut self) -> Result<(), TargetError> {
        self.inner.reset()?;
        let mut ear = self.ear.borrow_mut();
        let tick = ear.answers.len();
        ear.resets.push(tick);
        ear.heard.push(Heard::Reset);
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
    let ear = Rc::new(RefCell::new(Ear::default()));
    let mut target = Listened {
        inner: LogicTarget::new(),
        ear: ear.clone(),
    };
    let mut rows = Rows(Vec::new());
    let run = run_attended(&case.rig, &case.scenario, &mut target, &mut rows);
    assert_eq!(run.end.cut(), None, "{}", case.label());
    drop(target);
    let mut ear = ear.take();
    ear.answers.resize(rows.0.len(), None);
    Recording {
        rig: case.rig.clone(),
        rows: rows.0,
        answers: ear.answers,
        resets: ear.resets,
        heard: ear.heard,
    }
}
