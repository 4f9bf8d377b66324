//! The grammar, by recursive descent. From loosest to tightest: `implies` (right), `or`, `and`,
//! `until`, `not`, comparisons, `+ -`, `* /`, unary `-`.

use std::ops::Range;

use trimproof_diagnostics::FileError;

use super::Names;
use super::builder::{Builder, Term, TermValue, too_deep};
use super::lexer::{self, Token, TokenKind};
use super::lookup::WORDS;
use super::node::{BinaryOp, Number, Parsed, Quantifier, Truth, UnaryOp};
use super::window::Stated;

/// Brackets, prefixes and right-hand chains that may stand inside one another: bounds the stack of
/// the reader.
const NESTING_MAX: usize = 60;

const COMPARISONS: [&str; 6] = ["<", "<=", ">", ">=", "==", "!="];

type Built = Result<Term, FileError>;

/// Reads a whole formula.
///
/// # Errors
/// See [`super::Formula::parse`].
pub(super) fn parse(text: &str, names: &Names) -> Result<Parsed, FileError> {
    let tokens = lexer::tokens(text)?;
    let mut reader = Reader {
        tokens,
        at: 0,
        nesting: 0,
        build: Builder {
            names,
            text,
            atoms: Vec::new(),
        },
    };
    if reader.kind() == TokenKind::End {
        return Err(FileError::new("the formula is empty")
            .with_help("write one, as in `always(abs(pitch.stick_deg) < 5)`")
            .with_span(0..text.len()));
    }
    let term = reader.implies()?;
    if reader.kind() != TokenKind::End {
        return Err(reader.trailing());
    }
    let root = reader.build.truth(&term)?;
    Ok(Parsed {
        root,
        atoms: reader.build.atoms,
        reach: term.reach,
        to_end: term.to_end,
    })
}

struct Reader<'a> {
    tokens: Vec<Token>,
    at: usize,
    nesting: usize,
    build: Builder<'a>,
}

impl Reader<'_> {
    fn implies(&mut self) -> Built {
        let left = self.or()?;
        if !self.take_word("implies") {
            return Ok(left);
        }
        let right = self.nested(Self::implies)?;
        self.build.implies(left, right)
    }

    fn or(&mut self) -> Built {
        let mut left = self.and()?;
        while self.take_word("or") {
            let right = self.and()?;
            left = self.build.junction(Truth::Or, left, right)?;
        }
        Ok(left)
    }

    fn and(&mut self) -> Built {
        let mut left = self.until()?;
        while self.take_word("and") {
            let right = self.until()?;
            left = self.build.junction(Truth::And, left, right)?;
        }
        Ok(left)
    }

    fn until(&mut self) -> Built {
        let left = self.not()?;
        if !self.take_word("until") {
            return Ok(left);
        }
        let window = self.window()?;
        let right = self.not()?;
        if self.word() == Some("until") {
            return Err(
                FileError::new("`until` after `until` can be read in two ways")
                    .with_help("put one of them into brackets")
                    .with_span(self.span()),
            );
        }
        self.build.until(window, left, right)
    }

    fn not(&mut self) -> Built {
        let start = self.span().start;
        if !self.take_word("not") {
            return self.comparison();
        }
        let child = self.nested(Self::not)?;
        let span = start..child.span.end;
        self.build.not(child, span)
    }

    fn comparison(&mut self) -> Built {
        let left = self.sum()?;
        let Some(op) = self.take_symbol(&COMPARISONS) else {
            return Ok(left);
        };
        let right = self.sum()?;
        if let TokenKind::Symbol(next) = self.kind()
            && COMPARISONS.contains(&next)
        {
            return Err(FileError::new("comparisons cannot be chained")
                .with_help("write `a < b and b < c`")
                .with_span(self.span()));
        }
        self.build.compare(op, left, right)
    }

    fn sum(&mut self) -> Built {
        let mut left = self.product()?;
        while let Some(op) = self.take_symbol(&["+", "-"]) {
            let right = self.product()?;
            let op = if op == "+" {
                BinaryOp::Add
            } else {
                BinaryOp::Subtract
            };
            let span = left.span.start..right.span.end;
            left = self.build.binary(op, left, right, span)?;
        }
        Ok(left)
    }

    fn product(&mut self) -> Built {
        let mut left = self.sign()?;
        while let Some(op) = self.take_symbol(&["*", "/"]) {
            let right = self.sign()?;
            let op = if op == "*" {
                BinaryOp::Multiply
            } else {
                BinaryOp::Divide
            };
            let span = left.span.start..right.span.end;
            left = self.build.binary(op, left, right, span)?;
        }
        Ok(left)
    }

    fn sign(&mut self) -> Built {
        let start = self.span().start;
        if self.take_symbol(&["-"]).is_none() {
            return self.primary();
        }
        let child = self.nested(Self::sign)?;
        let span = start..child.span.end;
        self.build.unary(UnaryOp::Negate, child, span)
    }

    fn primary(&mut self) -> Built {
        let span = self.span();
        match self.kind() {
            TokenKind::Number(value) => {
                self.at += 1;
                Ok(self.build.literal(value, span))
            }
            TokenKind::Name => self.named(span),
            TokenKind::Symbol("(") => {
                let (mut term, outer) = self.bracketed()?;
                // The whole bracket, so that messages quote it as it stands.
                term.span = outer;
                Ok(term)
            }
            _ => Err(self.operand()),
        }
    }

    fn named(&mut self, span: Range<usize>) -> Built {
        let word = &self.build.text[span.clone()];
        match word {
            "true" | "false" => {
                self.at += 1;
                Ok(self.build.fixed(word == "true", span))
            }
            "always" | "eventually" | "once" | "historically" => {
                self.at += 1;
                let all = matches!(word, "always" | "historically");
                let quantifier = if all {
                    Quantifier::All
                } else {
                    Quantifier::Any
                };
                let window = self.window()?;
                let (child, inner) = self.argument(word)?;
                let span = span.start..inner.end;
                if matches!(word, "always" | "eventually") {
                    self.build.ahead(quantifier, window, child, span)
                } else {
                    self.build.behind(quantifier, window, child, span)
                }
            }
            "rises" | "falls" => {
                self.at += 1;
                let (child, inner) = self.argument(word)?;
                self.build
                    .edge(word == "rises", child, span.start..inner.end)
            }
            "abs" | "prev" | "change" | "rate" => {
                self.at += 1;
                let op = match word {
                    "abs" => UnaryOp::Abs,
                    "prev" => UnaryOp::Previous,
                    "change" => UnaryOp::Change,
                    _ => UnaryOp::Rate,
                };
                let (child, inner) = self.argument(word)?;
                self.build.unary(op, child, span.start..inner.end)
            }
            "min" | "max" => {
                self.at += 1;
                let op = if word == "min" {
                    BinaryOp::Min
                } else {
                    BinaryOp::Max
                };
                self.pair(op, span)
            }
            _ if word != "state" && WORDS.contains(&word) => Err(self.operand()),
            _ => {
                self.at += 1;
                if !self.take_word("is") {
                    return self.build.name(span);
                }
                let same = !self.take_word("not");
                let state = self.span();
                if self.kind() != TokenKind::Name {
                    let states = self.build.names.states.join("`, `");
                    return Err(self
                        .expected("the name of a state")
                        .with_help(format!("the states are `{states}`")));
                }
                self.at += 1;
                self.build.state(span, state, same)
            }
        }
    }

    /// `(one, two)` after `min` or `max`.
    fn pair(&mut self, op: BinaryOp, word: Range<usize>) -> Built {
        let open = self.span();
        if self.take_symbol(&["("]).is_none() {
            return Err(self
                .expected("`(`")
                .with_help("write `min(one, two)` or `max(one, two)`"));
        }
        let left = self.nested(Self::sum)?;
        if self.take_symbol(&[","]).is_none() {
            return Err(self
                .expected("`,` and a second number")
                .with_help("write `min(one, two)` or `max(one, two)`"));
        }
        let right = self.nested(Self::sum)?;
        let close = self.close(open)?;
        self.build.binary(op, left, right, word.start..close.end)
    }

    /// The bracket that a word must be followed by; gives the term and the bytes of the bracket.
    fn argument(&mut self, word: &str) -> Result<(Term, Range<usize>), FileError> {
        if self.kind() == TokenKind::Symbol("(") {
            return self.bracketed();
        }
        Err(self
            .expected(&format!("`(` after `{word}`"))
            .with_help(format!(
                "write `{word}(...)`: the brackets say how far it goes"
            )))
    }

    fn bracketed(&mut self) -> Result<(Term, Range<usize>), FileError> {
        let open = self.span();
        self.at += 1;
        let term = self.nested(Self::implies)?;
        let close = self.close(open.clone())?;
        Ok((term, open.start..close.end))
    }

    fn close(&mut self, open: Range<usize>) -> Result<Range<usize>, FileError> {
        let span = self.span();
        match self.kind() {
            TokenKind::Symbol(")") => {
                self.at += 1;
                Ok(span)
            }
            TokenKind::End => Err(FileError::new("`(` is never closed")
                .with_help("add the missing `)`")
                .with_span(open)),
            _ => Err(self
                .expected("`)` or an operator")
                .with_help("close the bracket, or join the parts with an operator")),
        }
    }

    /// A window, if one stands here: two constant numbers of seconds, one and `end`, or `end`
    /// twice.
    fn window(&mut self) -> Result<Option<Stated>, FileError> {
        let open = self.span();
        if self.take_symbol(&["["]).is_none() {
            return Ok(None);
        }
        let empty = self.span();
        if self.take_symbol(&["]"]).is_some() {
            return Err(FileError::new("the window is empty")
                .with_help("write two times in seconds, as in `[0, 1.5]`, or leave the window out")
                .with_span(open.start..empty.end));
        }
        let from_s = match self.at_end_twice() {
            true => None,
            false => Some(self.seconds()?),
        };
        if self.take_symbol(&[","]).is_none() {
            return Err(self
                .expected("`,` and a second time")
                .with_help("a window has two times in seconds, as in `[0, 1.5]` or `[2, end]`"));
        }
        let to_s = match self.take_word("end") {
            true => None,
            false => Some(self.seconds()?),
        };
        let close = self.span();
        if self.take_symbol(&["]"]).is_none() {
            return Err(match self.kind() {
                TokenKind::End => FileError::new("`[` is never closed")
                    .with_help("add the missing `]`")
                    .with_span(open),
                _ => self
                    .expected("`]`")
                    .with_help("a window has two times in seconds, as in `[0, 1.5]` or `[2, end]`"),
            });
        }
        Ok(Some(Stated {
            from_s,
            to_s,
            span: open.start..close.end,
        }))
    }

    /// Takes the first `end` of `[end, end]`.
    fn at_end_twice(&mut self) -> bool {
        let kind = |at: usize| self.tokens.get(at).map(|token| token.kind);
        let word = |at: usize| {
            let token = self.tokens.get(at)?;
            (token.kind == TokenKind::Name).then(|| &self.build.text[token.span.clone()])
        };
        let found = word(self.at) == Some("end")
            && kind(self.at + 1) == Some(TokenKind::Symbol(","))
            && word(self.at + 2) == Some("end");
        self.at += usize::from(found);
        found
    }

    fn seconds(&mut self) -> Result<f64, FileError> {
        let term = self.nested(Self::sum)?;
        match (&term.value, self.build.number(&term)?) {
            (TermValue::Number(..), (Number::Constant(value), _)) => Ok(value),
            _ => {
                let text = &self.build.text[term.span.clone()];
                Err(
                    FileError::new(format!("`{text}` changes with time, a window cannot"))
                        .with_help("use numbers and rig constants, in seconds")
                        .with_span(term.span),
                )
            }
        }
    }

    /// One level down.
    fn nested(&mut self, read: fn(&mut Self) -> Built) -> Built {
        if self.nesting >= NESTING_MAX {
            return Err(too_deep(self.span()));
        }
        self.nesting += 1;
        let term = read(self);
        self.nesting -= 1;
        term
    }

    fn kind(&self) -> TokenKind {
        self.tokens[self.at].kind
    }

    fn span(&self) -> Range<usize> {
        self.tokens[self.at].span.clone()
    }

    /// The word at hand, if it is one.
    fn word(&self) -> Option<&str> {
        (self.kind() == TokenKind::Name).then(|| &self.build.text[self.span()])
    }

    fn take_word(&mut self, word: &str) -> bool {
        let found = self.word() == Some(word);
        self.at += usize::from(found);
        found
    }

    fn take_symbol(&mut self, symbols: &[&str]) -> Option<&'static str> {
        match self.kind() {
            TokenKind::Symbol(symbol) if symbols.contains(&symbol) => {
                self.at += 1;
                Some(symbol)
            }
            _ => None,
        }
    }

    /// Something else stands where a value should.
    fn operand(&self) -> FileError {
        self.expected("a signal, a number or a bracket")
            .with_help("an operator and a word of the language need a value beside them")
    }

    fn expected(&self, what: &str) -> FileError {
        let span = self.span();
        if self.kind() == TokenKind::End {
            let end = self.build.text.trim_end().len();
            return FileError::new(format!("the formula ends where {what} is needed"))
                .with_span(end.saturating_sub(1)..end);
        }
        let found = &self.build.text[span.clone()];
        FileError::new(format!("`{found}` stands where {what} is needed")).with_span(span)
    }

    /// Something is left after a whole formula.
    fn trailing(&self) -> FileError {
        let span = self.span();
        let found = &self.build.text[span.clone()];
        let error = match found {
            ")" | "]" => FileError::new(format!("`{found}` closes nothing"))
                .with_help("remove it, or add the bracket that it should close"),
            "[" => FileError::new("a window stands where none can").with_help(
                "windows go after `always`, `eventually`, `once`, `historically`, `until`",
            ),
            _ => FileError::new(format!("`{found}` after the end of the formula"))
                .with_help("join parts with `and`, `or`, `implies` or `until`"),
        };
        error.with_span(span)
    }
}
