//! Rows of table C2A: an empty one, and one for what only one of the records has.

use trimproof_plant::AxisName;

use super::{Basis, FeelVerdict};

const TABLE: &str = "14 CFR part 60, appendix C, table C2A, entry";

/// An empty row of the table.
pub(super) fn row(axis: AxisName, entry: &str, what: impl Into<String>) -> FeelVerdict {
    FeelVerdict::new(Basis::TableC2a, axis, what, format!("{TABLE} {entry}"))
}

/// The row for what only one of the records has; nothing if neither has it.
pub(super) fn lacking(
    row: FeelVerdict,
    in_subject: bool,
    in_reference: bool,
) -> Option<FeelVerdict> {
    let which = match (in_subject, in_reference) {
        (true, false) => "the other record does not have it",
        (false, true) => "only the other record has it",
        _ => return None,
    };
    Some(row.noted(which))
}
