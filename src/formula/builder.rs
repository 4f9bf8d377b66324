//! Checked construction: types, units, windows and depth, each fault with its span.

use std::ops::Range;

use trimproof_diagnostics::FileError;

use super::column::apply;
use super::lookup::{self, FoundName};
use super::node::{Atom, BinaryOp, Number, Quantifier, Truth, UnaryOp, Window};
use super::window::Stated;
use super::{Names, SignalKind, window};

/// Levels that a formula may have, so that walking it needs little stack.
const LEVELS_MAX: usize = 100;

/// `rises` and `falls` inside one another: each one doubles the work.
const EDGES_MAX: u32 = 3;

type Built = Result<Term, FileError>;

/// A part of a formula, with what the checks of the parts round it need.
#[derive(Clone, Debug)]
pub(super) struct Term {
    pub value: TermValue,
    pub span: Range<usize>,
    levels: usize,
    edges: u32,
    /// Ticks ahead that windows reach.
    pub reach: usize,
    /// Whether a window goes to the end.
    pub to_end: bool,
}

/// What a term stands for.
#[derive(Clone, Debug)]
pub(super) enum TermValue {
    Number(Number, TermUnit),
    /// A bare switch: a truth value that `==` takes as well.
    Switch(String),
    Truth(Truth),
}

/// The unit of a number, as far as it is known.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) enum TermUnit {
    /// A number written out: it fits any unit.
    Plain,
    /// A constant: its unit is only in its name.
    Unknown,
    /// A unit as a signal has it.
    Signal(String),
    /// A unit that arithmetic made.
    Derived(String),
}

impl TermUnit {
    fn text(&self) -> Option<&str> {
        match self {
            Self::Plain | Self::Unknown => None,
            Self::Signal(text) | Self::Derived(text) => Some(text),
        }
    }

    /// Unit of a sum, of the lesser, or of a difference.
    fn shared(self, other: Self) -> Self {
        match (&self, &other) {
            (Self::Signal(_), _) | (_, Self::Plain) => self,
            (_, Self::Signal(_)) | (Self::Plain, _) => other,
            (Self::Derived(_), _) => self,
            _ => other,
        }
    }

    fn times(self, other: Self) -> Self {
        match (self, other) {
            (Self::Plain, other) => other,
            (unit, Self::Plain) => unit,
            (one, two) => match (one.text(), two.text()) {
                (Some(one), Some(two)) => Self::Derived(format!("{one}·{two}")),
                _ => Self::Unknown,
            },
        }
    }

    fn over(self, other: Self) -> Self {
        match (self, other) {
            (unit, Self::Plain) => unit,
            (one, two) => match (one.text(), two.text()) {
                (Some(one), Some(two)) if one == two => Self::Derived(String::new()),
                (Some(one), Some(two)) => Self::Derived(format!("{one}/({two})")),
                _ => Self::Unknown,
            },
        }
    }
}

/// Builds terms and keeps the list of what may decide.
pub(super) struct Builder<'a> {
    pub names: &'a Names,
    pub text: &'a str,
    pub atoms: Vec<Atom>,
}

impl Builder<'_> {
    /// A number that is written out.
    pub fn literal(&self, value: f64, span: Range<usize>) -> Term {
        leaf(
            TermValue::Number(Number::Constant(value), TermUnit::Plain),
            span,
        )
    }

    /// `true` or `false`.
    pub fn fixed(&self, truth: bool, span: Range<usize>) -> Term {
        leaf(TermValue::Truth(Truth::Constant(truth)), span)
    }

    /// A name that stands alone.
    pub fn name(&self, span: Range<usize>) -> Built {
        let name = &self.text[span.clone()];
        let value = match lookup::name(self.names, name, &span)? {
            FoundName::Constant(value) => {
                TermValue::Number(Number::Constant(value), TermUnit::Unknown)
            }
            FoundName::Signal(SignalKind::Number, unit) => {
                let unit = TermUnit::Signal(unit.to_owned());
                TermValue::Number(Number::Signal(name.to_owned()), unit)
            }
            FoundName::Signal(SignalKind::Switch, _) => TermValue::Switch(name.to_owned()),
            FoundName::Signal(SignalKind::State, _) => {
                let example = self.names.states.first().map_or("...", String::as_str);
                return Err(
                    FileError::new(format!("`{name}` needs `is` and the name of a state"))
                        .with_help(format!(
                            "write `{name} is {example}` or `{name} is not {example}`"
                        ))
                        .with_span(span),
                );
            }
        };
        Ok(leaf(value, span))
    }

    /// `signal is state`, or `is not`.
    pub fn state(&mut self, signal: Range<usize>, state: Range<usize>, same: bool) -> Built {
        let name = &self.text[signal.clone()];
        if !matches!(
            lookup::name(self.names, name, &signal)?,
            FoundName::Signal(SignalKind::State, _)
        ) {
            return Err(FileError::new(format!("`{name}` is not a state"))
                .with_help("`is` goes with `state`; compare numbers, and use switches as they are")
                .with_span(signal));
        }
        let code = lookup::state(self.names, &self.text[state.clone()], &state)?;
        let span = signal.start..state.end;
        let atom = self.atom(span.clone(), String::new());
        let truth = Truth::State {
            signal: name.to_owned(),
            code,
            same,
            atom,
        };
        Ok(leaf(TermValue::Truth(truth), span))
    }

    /// An operator on one number.
    pub fn unary(&self, op: UnaryOp, child: Term, span: Range<usize>) -> Built {
        let (number, unit) = self.number(&child)?;
        let number = match (op, number) {
            (UnaryOp::Negate, Number::Constant(value)) => Number::Constant(-value),
            (UnaryOp::Abs, Number::Constant(value)) => Number::Constant(value.abs()),
            (_, number) => Number::Unary(op, Box::new(number)),
        };
        let unit = match (op, unit) {
            (UnaryOp::Rate, unit) => match unit.text() {
                Some(text) => TermUnit::Derived(format!("{text}/s")),
                None => TermUnit::Unknown,
            },
            (_, unit) => unit,
        };
        self.around(&[&child], TermValue::Number(number, unit), span)
    }

    /// An operator on two numbers.
    pub fn binary(&self, op: BinaryOp, left: Term, right: Term, span: Range<usize>) -> Built {
        let (one, one_unit) = self.number(&left)?;
        let (two, two_unit) = self.number(&right)?;
        let unit = match op {
            BinaryOp::Multiply => one_unit.times(two_unit),
            BinaryOp::Divide => one_unit.over(two_unit),
            _ => self.shared(one_unit, two_unit, &span)?,
        };
        let number = match (one, two) {
            (Number::Constant(one), Number::Constant(two)) => {
                let value = apply(op, one, two);
                if !value.is_finite() {
                    let text = &self.text[span.clone()];
                    return Err(FileError::new(format!("`{text}` is not a finite number"))
                        .with_help("a constant part of a formula must have a value")
                        .with_span(span));
                }
                Number::Constant(value)
            }
            (one, two) => Number::Binary(op, Box::new(one), Box::new(two)),
        };
        self.around(&[&left, &right], TermValue::Number(number, unit), span)
    }

    /// A comparison; `op` is one of `< <= > >= == !=`.
    pub fn compare(&mut self, op: &str, left: Term, right: Term) -> Built {
        let span = left.span.start..right.span.end;
        let value = if matches!(op, "==" | "!=") {
            self.equal(op == "==", &left, &right, &span)?
        } else {
            let (one, one_unit) = self.number(&left)?;
            let (two, two_unit) = self.number(&right)?;
            let unit = self.shared(one_unit, two_unit, &span)?;
            let atom = self.atom(span.clone(), unit.text().unwrap_or_default().to_owned());
            let (low, high) = if op.starts_with('<') {
                (one, two)
            } else {
                (two, one)
            };
            Truth::Ordered {
                low: Box::new(low),
                high: Box::new(high),
                or_equal: op.ends_with('='),
                atom,
            }
        };
        self.around(&[&left, &right], TermValue::Truth(value), span)
    }

    /// `not`.
    pub fn not(&mut self, child: Term, span: Range<usize>) -> Built {
        let truth = self.truth(&child)?;
        let truth = Truth::Not {
            child: Box::new(truth),
            span: span.clone(),
            inner: child.span.clone(),
        };
        self.around(&[&child], TermValue::Truth(truth), span)
    }

    /// `and` or `or`.
    pub fn junction(
        &mut self,
        make: fn(Box<Truth>, Box<Truth>) -> Truth,
        left: Term,
        right: Term,
    ) -> Built {
        let truth = make(Box::new(self.truth(&left)?), Box::new(self.truth(&right)?));
        let span = left.span.start..right.span.end;
        self.around(&[&left, &right], TermValue::Truth(truth), span)
    }

    /// `implies`.
    pub fn implies(&mut self, left: Term, right: Term) -> Built {
        let truth = Truth::Implies {
            left: Box::new(self.truth(&left)?),
            right: Box::new(self.truth(&right)?),
            span: left.span.clone(),
        };
        let span = left.span.start..right.span.end;
        self.around(&[&left, &right], TermValue::Truth(truth), span)
    }

    /// `rises` or `falls`.
    pub fn edge(&mut self, rises: bool, child: Term, span: Range<usize>) -> Built {
        let truth = Truth::Edge {
            rises,
            child: Box::new(self.truth(&child)?),
            span: span.clone(),
        };
        if child.edges >= EDGES_MAX {
            return Err(
                FileError::new(format!("more than {EDGES_MAX} edges inside one another"))
                    .with_help("an edge of an edge is the edge itself")
                    .with_span(span),
            );
        }
        let mut term = self.around(&[&child], TermValue::Truth(truth), span)?;
        term.edges += 1;
        Ok(term)
    }

    /// `always` or `eventually`.
    pub fn ahead(
        &mut self,
        quantifier: Quantifier,
        stated: Option<Stated>,
        child: Term,
        span: Range<usize>,
    ) -> Built {
        let truth = self.truth(&child)?;
        let window = self.window(stated.as_ref())?;
        let truth = Truth::Ahead {
            quantifier,
            window,
            reach: child.reach,
            child: Box::new(truth),
            span: span.clone(),
        };
        let term = self.around(&[&child], TermValue::Truth(truth), span)?;
        self.reaching(term, window, stated.as_ref())
    }

    /// `once` or `historically`.
    pub fn behind(
        &mut self,
        quantifier: Quantifier,
        stated: Option<Stated>,
        child: Term,
        span: Range<usize>,
    ) -> Built {
        let truth = self.truth(&child)?;
        if let Some(stated) = stated.as_ref().filter(|stated| stated.to_s.is_none()) {
            return Err(
                FileError::new("a window that looks back cannot go to the `end`")
                    .with_help("leave the window out to look back to the start")
                    .with_span(stated.span.clone()),
            );
        }
        let truth = Truth::Behind {
            quantifier,
            window: self.window(stated.as_ref())?,
            child: Box::new(truth),
            span: span.clone(),
        };
        self.around(&[&child], TermValue::Truth(truth), span)
    }

    /// `left until right`.
    pub fn until(&mut self, stated: Option<Stated>, left: Term, right: Term) -> Built {
        let window = self.window(stated.as_ref())?;
        let span = left.span.start..right.span.end;
        let truth = Truth::Until {
            window,
            reach: left.reach.max(right.reach),
            left: Box::new(self.truth(&left)?),
            right: Box::new(self.truth(&right)?),
            span: span.clone(),
        };
        let term = self.around(&[&left, &right], TermValue::Truth(truth), span)?;
        self.reaching(term, window, stated.as_ref())
    }

    /// The term as a truth value.
    pub fn truth(&mut self, term: &Term) -> Result<Truth, FileError> {
        match &term.value {
            TermValue::Truth(truth) => Ok(truth.clone()),
            TermValue::Switch(signal) => Ok(Truth::Switch {
                signal: signal.clone(),
                atom: self.atom(term.span.clone(), String::new()),
            }),
            TermValue::Number(..) => {
                let text = &self.text[term.span.clone()];
                Err(FileError::new(format!(
                    "`{text}` is a number, something true or false is needed"
                ))
                .with_help(format!("compare it, as in `{text} < ...`"))
                .with_span(term.span.clone()))
            }
        }
    }

    /// The term as a number and its unit.
    pub fn number(&self, term: &Term) -> Result<(Number, TermUnit), FileError> {
        let text = &self.text[term.span.clone()];
        let (what, help) = match &term.value {
            TermValue::Number(number, unit) => return Ok((number.clone(), unit.clone())),
            TermValue::Switch(_) => (
                "a switch",
                format!("use it as it is: `{text}`, or `not {text}`"),
            ),
            TermValue::Truth(_) => (
                "true or false",
                "join comparisons with `and`, `or`, `implies`; `not` goes before a whole comparison"
                    .to_owned(),
            ),
        };
        Err(
            FileError::new(format!("`{text}` is {what}, a number is needed"))
                .with_help(help)
                .with_span(term.span.clone()),
        )
    }

    fn equal(
        &mut self,
        same: bool,
        left: &Term,
        right: &Term,
        span: &Range<usize>,
    ) -> Result<Truth, FileError> {
        if let (TermValue::Switch(left), TermValue::Switch(right)) = (&left.value, &right.value) {
            return Ok(Truth::SameSwitch {
                left: left.clone(),
                right: right.clone(),
                same,
                atom: self.atom(span.clone(), String::new()),
            });
        }
        let (one, two) = (
            &self.text[left.span.clone()],
            &self.text[right.span.clone()],
        );
        let help = match (&left.value, &right.value) {
            (TermValue::Number(..), TermValue::Number(..)) => {
                let sign = if same { "<=" } else { ">" };
                format!("say how near: `abs({one} - ({two})) {sign} 0.01`")
            }
            (TermValue::Switch(_), _) => format!("write `{one}`, or `not {one}`"),
            (_, TermValue::Switch(_)) => format!("write `{two}`, or `not {two}`"),
            _ => "write `(p implies q) and (q implies p)`".to_owned(),
        };
        let sign = if same { "==" } else { "!=" };
        Err(
            FileError::new(format!("`{sign}` compares two switches only"))
                .with_help(help)
                .with_span(span.clone()),
        )
    }

    fn shared(
        &self,
        one: TermUnit,
        two: TermUnit,
        span: &Range<usize>,
    ) -> Result<TermUnit, FileError> {
        if let (TermUnit::Signal(one), TermUnit::Signal(two)) = (&one, &two)
            && one != two
        {
            return Err(
                FileError::new(format!("`{one}` and `{two}` are different units"))
                    .with_help("multiply or divide by a constant that turns one into the other")
                    .with_span(span.clone()),
            );
        }
        Ok(one.shared(two))
    }

    fn window(&self, stated: Option<&Stated>) -> Result<Window, FileError> {
        stated.map_or(Ok(Window::WHOLE), |stated| stated.in_ticks(self.names))
    }

    /// Adds a window over the rows to come to the reach of a term, and checks that the scenario is
    /// long enough.
    fn reaching(&self, mut term: Term, window: Window, stated: Option<&Stated>) -> Built {
        let ticks = window::length_ticks(self.names)?;
        let inner = term.reach;
        term.to_end |= window.to.is_none();
        term.reach = inner + window.to.unwrap_or(window.from);
        // At least one instant at which the windows inside are whole.
        if term.reach > ticks || inner + window.from >= ticks {
            let span = stated.map_or_else(|| term.span.clone(), |stated| stated.span.clone());
            if inner == 0 {
                return Err(FileError::new(format!(
                    "window starts at `{}` s, where the scenario ends",
                    self.names.length_s
                ))
                .with_help("start it earlier, so that there is something to judge")
                .with_span(span));
            }
            return Err(FileError::new(format!(
                "windows inside one another reach `{}` s, the scenario ends at `{}` s",
                seconds((inner + window.to.unwrap_or(window.from)) as f64 * self.names.tick_s),
                self.names.length_s
            ))
            .with_help("their times add up, and one tick at least must be left to judge")
            .with_span(span));
        }
        Ok(term)
    }

    fn atom(&mut self, span: Range<usize>, unit: String) -> usize {
        self.atoms.push(Atom { span, unit });
        self.atoms.len() - 1
    }

    fn around(&self, children: &[&Term], value: TermValue, span: Range<usize>) -> Built {
        let levels = 1 + children.iter().map(|term| term.levels).max().unwrap_or(0);
        if levels > LEVELS_MAX {
            return Err(too_deep(span));
        }
        Ok(Term {
            value,
            span,
            levels,
            edges: children.iter().map(|term| term.edges).max().unwrap_or(0),
            reach: children.iter().map(|term| term.reach).max().unwrap_or(0),
            to_end: children.iter().any(|term| term.to_end),
        })
    }
}

/// The fault of a formula that is nested too deeply or is one very long chain.
pub(super) fn too_deep(span: Range<usize>) -> FileError {
    FileError::new(format!("the formula has more than {LEVELS_MAX} levels"))
        .with_help("split it into several expectations")
        .with_span(span)
}

/// Seconds without the dust of binary fractions.
fn seconds(value: f64) -> f64 {
    (value * 1e9).round() / 1e9
}

fn leaf(value: TermValue, span: Range<usize>) -> Term {
    Term {
        value,
        span,
        levels: 1,
        edges: 0,
        reach: 0,
        to_end: false,
    }
}
