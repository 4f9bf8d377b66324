//! Finds every decision in the controller's sources, and writes a copy of them that notes how each
//! one came out.
//!
//! A decision is a comparison, a smaller or larger value, a condition, or an arm of a `match`. The
//! copy is the source text with calls of `replay/seen.rs` put around each decision; nothing else
//! changes, so it computes the same.

use std::collections::BTreeMap;
use std::ops::Range;
use std::path::Path;

use syn::spanned::Spanned;
use syn::visit::{self, Visit};
use syn::{Attribute, BinOp, Expr, ExprMacro, Item};

/// How a decision can come out, in the order of the bits that the copy notes.
pub type Sides = &'static [&'static str];

const ORDER: Sides = &["below", "equal", "above"];
const EQUALITY: Sides = &["false", "true"];
const SMALLER: Sides = &["first", "second"];
const CLAMPED: Sides = &["below", "inside", "above"];
const TAKEN: Sides = &["taken"];

/// The controller's own clamp, a function of a value and its two bounds.
const CLAMP: &str = "within";

/// One decision in the sources.
pub struct Decision {
    /// Module, type and function, with `::` between them.
    pub function: String,
    /// Its text, white space made one space; numbered where a function has the same twice.
    pub text: String,
    /// How it can come out.
    pub sides: Sides,
}

/// One module of the copy.
pub struct Module {
    /// Its name; the file is `NAME.rs`.
    pub name: String,
    /// The changed text.
    pub text: String,
}

/// The copy of the controller, and what it notes.
pub struct Copy {
    /// `lib` and every module that is flashed.
    pub modules: Vec<Module>,
    /// The decisions; the place is the number that the copy notes.
    pub decisions: Vec<Decision>,
}

/// Reads the sources of the controller and of what passes between it and the world, as one crate.
///
/// Modules, functions and items that only tests have are left out.
pub fn copy(controller: &Path, io: &Path) -> Copy {
    let mut lib = read(controller, "lib");
    let mut sources = modules_of(controller, &lib);
    let io_lib = read(io, "lib");
    sources.extend(modules_of(io, &io_lib));
    for item in syn::parse_file(&io_lib).expect("lib.rs is Rust").items {
        if matches!(item, Item::Mod(_) | Item::Use(_)) {
            lib.push_str(&io_lib[item.span().byte_range()]);
            lib.push('\n');
        }
    }
    lib.push_str("extern crate std;\n/// Notes how decisions came out.\npub mod seen;\n");
    let mut modules = vec![Module {
        name: "lib".to_owned(),
        text: lib,
    }];
    let mut decisions = Vec::new();
    for (name, text) in sources {
        // One crate holds both.
        let text = text.replace("trimproof_io::", "crate::");
        let text = noting(&name, &text, &mut decisions);
        modules.push(Module { name, text });
    }
    number(&mut decisions);
    Copy { modules, decisions }
}

fn read(folder: &Path, name: &str) -> String {
    let file = folder.join(format!("{name}.rs"));
    let text = std::fs::read_to_string(&file);
    text.unwrap_or_else(|error| panic!("{}: {error}", file.display()))
}

/// Name and text of every module of a crate but its tests.
fn modules_of(folder: &Path, lib: &str) -> Vec<(String, String)> {
    let parsed = syn::parse_file(lib).expect("lib.rs is Rust");
    let modules = parsed.items.iter().filter_map(|item| match item {
        Item::Mod(module) if !only_for_tests(&module.attrs) => Some(module.ident.to_string()),
        _ => None,
    });
    modules
        .map(|name| {
            let text = read(folder, &name);
            (name, text)
        })
        .collect()
}

/// The text of a module with every decision noted; its decisions are added to the others.
fn noting(name: &str, text: &str, decisions: &mut Vec<Decision>) -> String {
    let parsed = syn::parse_file(text).unwrap_or_else(|error| panic!("{name}.rs is Rust: {error}"));
    let mut finder = Finder {
        source: text,
        scope: vec![name.to_owned()],
        edits: Vec::new(),
        decisions,
    };
    finder.visit_file(&parsed);
    let edits = finder.edits;
    changed(text, edits)
}

/// Numbers the decisions of one function that have the same text.
fn number(decisions: &mut [Decision]) {
    let mut seen: BTreeMap<(String, String), usize> = BTreeMap::new();
    for decision in decisions {
        let key = (decision.function.clone(), decision.text.clone());
        let count = seen.entry(key).or_default();
        *count += 1;
        if *count > 1 {
            decision.text.push_str(&format!(" ({count})"));
        }
    }
}

fn only_for_tests(attributes: &[Attribute]) -> bool {
    attributes.iter().any(|attribute| {
        attribute.path().is_ident("cfg")
            && attribute
                .parse_args::<syn::Path>()
                .is_ok_and(|path| path.is_ident("test"))
    })
}

/// Where an insertion stands among others at the same place of the text.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
enum Rank {
    /// Behind an expression; the inner one first.
    Close,
    /// Instead of an operator.
    Operator,
    /// Before an expression; the outer one first.
    Open,
}

struct Edit {
    at: usize,
    rank: Rank,
    /// Bytes that go.
    gone: usize,
    text: String,
}

/// The text with every edit made.
fn changed(source: &str, edits: Vec<Edit>) -> String {
    let mut edits: Vec<(usize, Edit)> = edits.into_iter().enumerate().collect();
    // Outer decisions are found before inner ones.
    edits.sort_by_key(|(found, edit)| {
        let found = *found as i64;
        let among = if edit.rank == Rank::Close {
            -found
        } else {
            found
        };
        (edit.at, edit.rank, among)
    });
    let mut text = String::new();
    let mut done = 0;
    for (_, edit) in edits {
        if edit.at > done {
            text.push_str(&source[done..edit.at]);
            done = edit.at;
        }
        text.push_str(&edit.text);
        done = done.max(edit.at + edit.gone);
    }
    text.push_str(&source[done..]);
    text
}

struct Finder<'a> {
    source: &'a str,
    scope: Vec<String>,
    edits: Vec<Edit>,
    decisions: &'a mut Vec<Decision>,
}

impl Finder<'_> {
    /// Notes a decision; returns its number.
    fn found(&mut self, what: Range<usize>, sides: Sides) -> usize {
        let text: Vec<&str> = self.source[what].split_whitespace().collect();
        self.decisions.push(Decision {
            function: self.scope.join("::"),
            text: text.join(" "),
            sides,
        });
        self.decisions.len() - 1
    }

    fn edit(&mut self, range: Range<usize>, rank: Rank, text: String) {
        self.edits.push(Edit {
            at: range.start,
            rank,
            gone: range.len(),
            text,
        });
    }

    fn around(&mut self, what: Range<usize>, before: String, behind: &str) {
        self.edit(what.start..what.start, Rank::Open, before);
        self.edit(what.end..what.end, Rank::Close, behind.to_owned());
    }

    /// A condition, or a part of one: if nothing in it is found otherwise, it is a decision.
    fn condition(&mut self, expression: &Expr) {
        match expression {
            Expr::Paren(inner) => self.condition(&inner.expr),
            Expr::Unary(inner) => self.condition(&inner.expr),
            Expr::Let(_) | Expr::Lit(_) => {}
            Expr::Macro(inner) if is_matches(inner) => {}
            Expr::Binary(inner) if sides_of(&inner.op).is_some() || joins(&inner.op) => {}
            _ => {
                let range = expression.span().byte_range();
                let id = self.found(range.clone(), EQUALITY);
                self.around(range, format!("crate::seen::flag({id}, "), ")");
            }
        }
    }

    /// Inside a function. Its `const` goes, for the copy's notes are not `const`; those without
    /// decisions or `self` keep it, for constants may be made with them.
    fn function(&mut self, signature: &syn::Signature, visit: impl FnOnce(&mut Self)) {
        self.scope.push(signature.ident.to_string());
        let before = self.decisions.len();
        visit(self);
        if let Some(word) = &signature.constness
            && (self.decisions.len() > before || signature.receiver().is_some())
        {
            self.edit(word.span().byte_range(), Rank::Operator, String::new());
        }
        self.scope.pop();
    }
}

fn is_matches(expression: &ExprMacro) -> bool {
    expression.mac.path.is_ident("matches")
}

fn joins(operator: &BinOp) -> bool {
    matches!(operator, BinOp::And(_) | BinOp::Or(_))
}

/// The copy's function for a comparison.
fn sides_of(operator: &BinOp) -> Option<(&'static str, Sides)> {
    match operator {
        BinOp::Lt(_) => Some(("below", ORDER)),
        BinOp::Le(_) => Some(("at_most", ORDER)),
        BinOp::Gt(_) => Some(("above", ORDER)),
        BinOp::Ge(_) => Some(("at_least", ORDER)),
        BinOp::Eq(_) => Some(("equal", EQUALITY)),
        BinOp::Ne(_) => Some(("unequal", EQUALITY)),
        _ => None,
    }
}

impl<'ast> Visit<'ast> for Finder<'_> {
    fn visit_item(&mut self, item: &'ast Item) {
        let attributes = match item {
            // Worked out while compiling.
            Item::Const(_) | Item::Static(_) | Item::Macro(_) => return,
            Item::Fn(item) => &item.attrs,
            Item::Impl(item) => &item.attrs,
            Item::Mod(item) => &item.attrs,
            _ => return visit::visit_item(self, item),
        };
        if !only_for_tests(attributes) {
            visit::visit_item(self, item);
        }
    }

    fn visit_item_fn(&mut self, item: &'ast syn::ItemFn) {
        // Noted where it is called.
        if item.sig.ident == CLAMP {
            return;
        }
        self.function(&item.sig, |finder| visit::visit_item_fn(finder, item));
    }

    fn visit_item_impl(&mut self, item: &'ast syn::ItemImpl) {
        let range = item.self_ty.span().byte_range();
        self.scope.push(self.source[range].to_owned());
        visit::visit_item_impl(self, item);
        self.scope.pop();
    }

    fn visit_impl_item_const(&mut self, _: &'ast syn::ImplItemConst) {}

    fn visit_impl_item_fn(&mut self, item: &'ast syn::ImplItemFn) {
        if !only_for_tests(&item.attrs) {
            self.function(&item.sig, |finder| visit::visit_impl_item_fn(finder, item));
        }
    }

    fn visit_expr_binary(&mut self, expression: &'ast syn::ExprBinary) {
        if joins(&expression.op) {
            self.condition(&expression.left);
            self.condition(&expression.right);
        }
        if let Some((function, sides)) = sides_of(&expression.op) {
            let range = expression.span().byte_range();
            let id = self.found(range.clone(), sides);
            self.around(range, format!("crate::seen::{function}({id}, &("), "))");
            let operator = expression.op.span().byte_range();
            self.edit(operator, Rank::Operator, "), &(".to_owned());
        }
        visit::visit_expr_binary(self, expression);
    }

    fn visit_expr_method_call(&mut self, call: &'ast syn::ExprMethodCall) {
        let name = call.method.to_string();
        let sides = match (name.as_str(), call.args.len()) {
            ("min" | "max", 1) => Some(SMALLER),
            ("clamp", 2) => Some(CLAMPED),
            _ => None,
        };
        if let Some(sides) = sides {
            let range = call.span().byte_range();
            let receiver = call.receiver.span().byte_range();
            let first = call.args[0].span().byte_range();
            let id = self.found(range.clone(), sides);
            let before = format!("crate::seen::{name}({id}, ");
            self.edit(range.start..range.start, Rank::Open, before);
            self.edit(receiver.end..first.start, Rank::Operator, ", ".to_owned());
        }
        visit::visit_expr_method_call(self, call);
    }

    fn visit_expr_call(&mut self, call: &'ast syn::ExprCall) {
        if let Expr::Path(function) = &*call.func
            && function.path.is_ident(CLAMP)
        {
            let range = call.span().byte_range();
            let first = call.args[0].span().byte_range();
            let id = self.found(range.clone(), CLAMPED);
            let before = format!("crate::seen::clamp({id}, ");
            self.edit(range.start..first.start, Rank::Open, before);
        }
        visit::visit_expr_call(self, call);
    }

    fn visit_expr_macro(&mut self, expression: &'ast ExprMacro) {
        if is_matches(expression) {
            let range = expression.span().byte_range();
            let id = self.found(range.clone(), EQUALITY);
            self.around(range, format!("crate::seen::flag({id}, "), ")");
        }
    }

    fn visit_expr_if(&mut self, expression: &'ast syn::ExprIf) {
        self.condition(&expression.cond);
        if let Expr::Let(pattern) = &*expression.cond {
            let id = self.found(pattern.span().byte_range(), EQUALITY);
            let note = |met: bool| format!(" crate::seen::flag({id}, {met});");
            let then = expression.then_branch.span().byte_range();
            self.edit(then.start + 1..then.start + 1, Rank::Open, note(true));
            match &expression.else_branch {
                None => {
                    let text = format!(" else {{{} }}", note(false));
                    self.edit(then.end..then.end, Rank::Close, text);
                }
                Some((_, other)) => {
                    let other = other.span().byte_range();
                    self.around(other, format!("{{{} ", note(false)), " }");
                }
            }
        }
        visit::visit_expr_if(self, expression);
    }

    fn visit_expr_while(&mut self, expression: &'ast syn::ExprWhile) {
        self.condition(&expression.cond);
        visit::visit_expr_while(self, expression);
    }

    fn visit_local(&mut self, local: &'ast syn::Local) {
        if let Some(init) = &local.init
            && let Some((_, other)) = &init.diverge
        {
            let range = local.pat.span().start_to(init.expr.span());
            let id = self.found(range, EQUALITY);
            let other = other.span().byte_range();
            let note = format!(" crate::seen::flag({id}, false);");
            self.edit(other.start + 1..other.start + 1, Rank::Open, note);
            let end = local.span().byte_range().end;
            let note = format!(" crate::seen::flag({id}, true);");
            self.edit(end..end, Rank::Close, note);
        }
        visit::visit_local(self, local);
    }

    fn visit_arm(&mut self, arm: &'ast syn::Arm) {
        let pattern = arm.pat.span().byte_range();
        let mut range = pattern;
        if let Some((_, guard)) = &arm.guard {
            range.end = guard.span().byte_range().end;
            self.condition(guard);
        }
        let id = self.found(range, TAKEN);
        let body = arm.body.span().byte_range();
        self.around(body, format!("{{ crate::seen::flag({id}, false); "), " }");
        if let Some((_, guard)) = &arm.guard {
            self.visit_expr(guard);
        }
        self.visit_expr(&arm.body);
    }
}

/// From the start of one span to the end of another.
trait StartTo {
    fn start_to(&self, end: proc_macro2::Span) -> Range<usize>;
}

impl StartTo for proc_macro2::Span {
    fn start_to(&self, end: proc_macro2::Span) -> Range<usize> {
        self.byte_range().start..end.byte_range().end
    }
}

#[test]
fn every_kind_of_decision_is_found_and_noted() {
    let text = "\
        impl A { const fn f(&self, a: i32, on: bool) -> bool { on && !(a<3) } }
        fn g(a: i32) -> i32 { if matches!(a, 1 | 2) { a.min(7).max(1) } else { within(a, 0, 9) } }
        fn h(a: Option<i32>) -> i32 { match a { Some(b) if b == 4 => b, _ => 0 } }
        fn i(a: Option<i32>) { let Some(_) = a else { return; }; if let Some(_) = a { i(None) } }
        #[cfg(test)] mod tests { fn f() -> bool { 1 < 2 } }
        const ALWAYS: bool = 1 < 2;";
    let mut decisions = Vec::new();
    let noted = noting("m", text, &mut decisions);
    let wanted = "\
        impl A {  fn f(&self, a: i32, on: bool) -> bool { crate::seen::flag(0, on) && !(crate::seen::below(1, &(a), &(3))) } }
        fn g(a: i32) -> i32 { if crate::seen::flag(2, matches!(a, 1 | 2)) { crate::seen::max(3, crate::seen::min(4, a, 7), 1) } else { crate::seen::clamp(5, a, 0, 9) } }
        fn h(a: Option<i32>) -> i32 { match a { Some(b) if crate::seen::equal(7, &(b ), &( 4)) => { crate::seen::flag(6, false); b }, _ => { crate::seen::flag(8, false); 0 } } }
        fn i(a: Option<i32>) { let Some(_) = a else { crate::seen::flag(9, false); return; }; crate::seen::flag(9, true); if let Some(_) = a { crate::seen::flag(10, true); i(None) } else { crate::seen::flag(10, false); } }
        #[cfg(test)] mod tests { fn f() -> bool { 1 < 2 } }
        const ALWAYS: bool = 1 < 2;";
    assert_eq!(noted, wanted);
    let found: Vec<String> = decisions
        .iter()
        .map(|one| format!("{}: {} ({})", one.function, one.text, one.sides.len()))
        .collect();
    let wanted = [
        "m::A::f: on (2)",
        "m::A::f: a<3 (3)",
        "m::g: matches!(a, 1 | 2) (2)",
        "m::g: a.min(7).max(1) (2)",
        "m::g: a.min(7) (2)",
        "m::g: within(a, 0, 9) (3)",
        "m::h: Some(b) if b == 4 (1)",
        "m::h: b == 4 (2)",
        "m::h: _ (1)",
        "m::i: Some(_) = a (2)",
        "m::i: let Some(_) = a (2)",
    ];
    assert_eq!(found, wanted);
}
