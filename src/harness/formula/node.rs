//! The checked formula as a tree.

use std::ops::Range;

/// An expression whose value is a number in every row.
#[derive(Clone, Debug)]
pub(super) enum Number {
    Constant(f64),
    Signal(String),
    Unary(UnaryOp, Box<Number>),
    Binary(BinaryOp, Box<Number>, Box<Number>),
}

/// Operators on one number.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum UnaryOp {
    Negate,
    Abs,
    /// The value one row earlier; in the first row, the value itself.
    Previous,
    /// The value less the one of the row before; 0 in the first row.
    Change,
    /// `Change` a second.
    Rate,
}

/// Operators on two numbers.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum BinaryOp {
    Add,
    Subtract,
    Multiply,
    Divide,
    Min,
    Max,
}

/// An expression that is true or false in every row.
#[derive(Clone, Debug)]
pub(super) enum Truth {
    Constant(bool),
    /// A switch signal is on.
    Switch {
        signal: String,
        atom: usize,
    },
    /// Two switches are equal, or different.
    SameSwitch {
        left: String,
        right: String,
        same: bool,
        atom: usize,
    },
    /// A state signal has this code, or has not.
    State {
        signal: String,
        code: usize,
        same: bool,
        atom: usize,
    },
    /// `low < high`, or `low <= high` where equality holds.
    Ordered {
        low: Box<Number>,
        high: Box<Number>,
        or_equal: bool,
        atom: usize,
    },
    Not(Box<Truth>),
    And(Box<Truth>, Box<Truth>),
    Or(Box<Truth>, Box<Truth>),
    Implies(Box<Truth>, Box<Truth>),
    /// A window over the rows to come; `reach` is that of the child.
    Ahead {
        quantifier: Quantifier,
        window: Window,
        reach: usize,
        child: Box<Truth>,
    },
    /// A window over the rows gone by.
    Behind {
        quantifier: Quantifier,
        window: Window,
        child: Box<Truth>,
    },
    Until {
        window: Window,
        reach: usize,
        left: Box<Truth>,
        right: Box<Truth>,
    },
    /// The child becomes true (rises) or false.
    Edge {
        rises: bool,
        child: Box<Truth>,
    },
}

/// Over the rows of a window.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Quantifier {
    All,
    Any,
}

/// A window in ticks from the instant of evaluation, both ends inside.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Window {
    pub from: usize,
    /// `None`: to the end (or, looking back, the start) of the trace.
    pub to: Option<usize>,
}

/// What can decide a margin: a comparison, a switch or a state test.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Atom {
    pub span: Range<usize>,
    pub unit: String,
}

/// A whole formula as the grammar hands it over.
#[derive(Clone, Debug)]
pub(super) struct Parsed {
    pub root: Truth,
    pub atoms: Vec<Atom>,
    /// Ticks ahead that the nested windows reach.
    pub reach: usize,
    /// Whether some window goes to the end of the trace.
    pub to_end: bool,
}
