//! What the report on a stick shows.

use super::work;
use crate::exit::Exit;
use trimproof_feel::figures::Figures;
use trimproof_feel::judge::{FeelVerdict, Taken, advise, compare, judge_targets};
use trimproof_feel::measure::Measured;
use trimproof_feel::record::Record;
use trimproof_harness::rig::RigFile;

/// What every report says of itself.
pub(super) const CAUTION: &str = "This report sets figures against numbers. It is no qualification of a device and stands for none: \
that takes the authority's own process, approved data and the device itself. Figures of a twin are as good as its rig file.";

/// A stick as measured, ready to be judged.
pub(super) struct Stick {
    pub(super) record: Record,
    pub(super) figures: Figures,
    pub(super) notes: Vec<String>,
}

impl Stick {
    pub(super) fn of_twin(rig: &RigFile, measured: Measured) -> Self {
        let (figures, more) = measured.figures(rig);
        let mut notes = measured.notes.clone();
        notes.extend(more);
        notes.push(work::damping_note(&measured));
        Self {
            record: measured.record,
            figures,
            notes,
        }
    }
}

/// Everything that the report shows.
pub(super) struct FeelReport<'a> {
    pub(super) rig: &'a RigFile,
    pub(super) stick: &'a Stick,
    pub(super) other: Option<&'a Stick>,
    pub(super) targets: Vec<FeelVerdict>,
    pub(super) table: Vec<FeelVerdict>,
    pub(super) advice: Vec<FeelVerdict>,
}

impl<'a> FeelReport<'a> {
    pub(super) fn of(rig: &'a RigFile, stick: &'a Stick, other: Option<&'a Stick>) -> Self {
        let taken = |stick: &'a Stick| Taken {
            record: &stick.record,
            figures: &stick.figures,
        };
        Self {
            rig,
            stick,
            other,
            targets: judge_targets(rig, &stick.record, &stick.figures),
            table: other.map_or_else(Vec::new, |other| compare(taken(stick), taken(other))),
            advice: advise(taken(stick)),
        }
    }

    /// Broken if a target or a row of the table is; a target without a figure was not shown to hold
    /// either.
    pub(super) fn exit(&self) -> Exit {
        let broken = self
            .targets
            .iter()
            .chain(&self.table)
            .any(FeelVerdict::is_broken);
        if broken { Exit::Fail } else { Exit::Pass }
    }
}
