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
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
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
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
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
    /// `span` is the text of the whole, `inner` that of the child.
    Not {
        child: Box<Truth>,
        span: Range<usize>,
        inner: Range<usize>,
    },
    And(Box<Truth>, Box<Truth>),
    Or(Box<Truth>, Box<Truth>),
    /// `span` is the text of the left side.
    Implies {
        left: Box<Truth>,
        right: Box<Truth>,
        span: Range<usize>,
    },
    /// A window over the rows to come; `reach` is that of the child.
    Ahead {
        quantifier: Quantifier,
        window: Window,
        reach: usize,
        child: Box<Truth>,
        span: Range<usize>,
    },
    /// A window over the rows gone by.
    Behind {
        quantifier: Quantifier,
        window: Window,
        child: Box<Truth>,
        span: Range<usize>,
    },
    /// `span` is the text of the whole.
    Until {
        window: Window,
        reach: usize,
        left: Box<Truth>,
        right: Box<Truth>,
        span: Range<usize>,
    },
    /// The child becomes true (rises) or false.
    Edge {
        rises: bool,
        child: Box<Truth>,
        span: Range<usize>,
    },
}

/// Over the rows of a window.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub(super) enum Quantifier {
    All,
    Any,
}

/// A window in ticks from the instant of evaluation, both ends inside.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub(super) struct Window {
    pub from: usize,
    /// `None`: to the end (or, looking back, the start) of the trace.
    pub to: Option<usize>,
    /// `[end, end]`: the last row alone, whatever the instant of evaluation.
    pub at_end: bool,
}

impl Window {
    /// To the end, or back to the start.
    pub const WHOLE: Self = Self {
        from: 0,
        to: None,
        at_end: false,
    };
}

impl Truth {
    /// The parts that are true or false themselves.
    pub fn children(&self) -> Vec<&Self> {
        match self {
            Self::Constant(_)
            | Self::Switch { .. }
            | Self::SameSwitch { .. }
            | Self::State { .. }
            | Self::Ordered { .. } => Vec::new(),
            Self::Not { child, .. }
            | Self::Ahead { child, .. }
            | Self::Behind { child, .. }
            | Self::Edge { child, .. } => vec![child],
            Self::And(left, right)
            | Self::Or(left, right)
            | Self::Implies { left, right, .. }
            | Self::Until { left, right, .. } => vec![left, right],
        }
    }
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
