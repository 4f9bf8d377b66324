//! Where a source file can be mutated, and into what: the kinds that cargo-mutants has.

use proc_macro2::Span;
use quote::ToTokens;
use serde::Serialize;
use syn::spanned::Spanned;
use syn::visit::{self, Visit};
use syn::{BinOp, Expr, ReturnType, Type, UnOp};

/// What a mutant changes.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "lowercase")]
pub enum Kind {
    /// A function returns at once.
    Body,
    /// Another operator.
    Operator,
    /// No `!` or `-`.
    Sign,
    /// No such arm of a match.
    Arm,
    /// An arm's guard.
    Guard,
}

/// A place with its mutants.
pub struct Site {
    pub begin: usize,
    pub end: usize,
    pub kind: Kind,
    pub function: String,
    pub from: String,
    /// What stands there instead.
    pub to: Vec<String>,
}

/// What a file holds.
pub struct Found {
    pub sites: Vec<Site>,
    pub unconst: Vec<usize>,
}

/// Finds the places of `text`.
pub fn find(text: &str) -> Found {
    let file = syn::parse_file(text).expect("a file that compiles");
    let mut finder = Finder {
        text,
        sites: Vec::new(),
        unconst: Vec::new(),
        path: Vec::new(),
    };
    finder.visit_file(&file);
    // What goes in between comes before what begins there, outer before inner.
    finder.sites.sort_by_key(|site| {
        (
            site.begin,
            site.begin != site.end,
            std::cmp::Reverse(site.end),
        )
    });
    Found {
        sites: finder.sites,
        unconst: finder.unconst,
    }
}

struct Finder<'a> {
    text: &'a str,
    sites: Vec<Site>,
    unconst: Vec<usize>,
    path: Vec<String>,
}

fn range(span: Span) -> (usize, usize) {
    let range = span.byte_range();
    (range.start, range.end)
}

fn is_test(attributes: &[syn::Attribute]) -> bool {
    attributes.iter().any(|attribute| {
        let text = attribute.to_token_stream().to_string();
        text.contains("cfg (test)") || text.contains("[test]") || text.contains("# [test]")
    })
}

impl Finder<'_> {
    fn add(&mut self, span: (usize, usize), kind: Kind, from: String, to: Vec<String>) {
        if self.path.is_empty() || to.is_empty() {
            return;
        }
        self.sites.push(Site {
            begin: span.0,
            end: span.1,
            kind,
            function: self.path.join("::"),
            from,
            to,
        });
    }

    fn slice(&self, node: &impl Spanned) -> &str {
        let (begin, end) = range(node.span());
        &self.text[begin..end]
    }

    fn function(&mut self, signature: &syn::Signature, block: &syn::Block) {
        // Called in constants: what chooses a mutant cannot be.
        if signature.constness.is_some() && signature.ident == "new" {
            return;
        }
        if let Some(word) = &signature.constness {
            self.unconst.push(range(word.span()).0);
        }
        let is_fmt = signature.ident == "fmt";
        self.path.push(signature.ident.to_string());
        if !is_fmt && !block.stmts.is_empty() {
            let open = range(block.brace_token.span.open()).1;
            let to = values(&signature.output);
            self.add((open, open), Kind::Body, signature.ident.to_string(), to);
        }
        visit::visit_block(self, block);
        self.path.pop();
    }
}

/// What a function of this type may return instead.
fn values(output: &ReturnType) -> Vec<String> {
    let ReturnType::Type(_, kind) = output else {
        return vec!["()".to_owned()];
    };
    values_of(kind)
}

fn values_of(kind: &Type) -> Vec<String> {
    let texts = |texts: &[&str]| {
        texts
            .iter()
            .map(|text| (*text).to_owned())
            .collect::<Vec<_>>()
    };
    match kind {
        Type::Path(path) => {
            let last = path.path.segments.last().expect("a name");
            let inner = match &last.arguments {
                syn::PathArguments::AngleBracketed(inside) => {
                    inside.args.iter().find_map(|one| match one {
                        syn::GenericArgument::Type(kind) => Some(values_of(kind)),
                        _ => None,
                    })
                }
                _ => None,
            };
            match last.ident.to_string().as_str() {
                "bool" => texts(&["true", "false"]),
                "f64" | "f32" => texts(&["0.0", "1.0", "-1.0"]),
                "i8" | "i16" | "i32" | "i64" | "isize" => texts(&["0", "1", "-1"]),
                "u8" | "u16" | "u32" | "u64" | "usize" => texts(&["0", "1"]),
                "String" => texts(&["String::new()", "\"xyzzy\".into()"]),
                "Vec" => texts(&["Vec::new()"]),
                "Option" => {
                    let mut all = texts(&["None"]);
                    all.extend(
                        inner
                            .unwrap_or_default()
                            .iter()
                            .map(|value| format!("Some({value})")),
                    );
                    all
                }
                "Result" => inner
                    .unwrap_or_default()
                    .iter()
                    .map(|value| format!("Ok({value})"))
                    .collect(),
                _ => texts(&["Default::default()"]),
            }
        }
        Type::Tuple(tuple) => {
            if tuple.elems.is_empty() {
                return texts(&["()"]);
            }
            let firsts: Vec<String> = tuple
                .elems
                .iter()
                .map(|one| {
                    values_of(one)
                        .first()
                        .cloned()
                        .unwrap_or_else(|| "Default::default()".to_owned())
                })
                .collect();
            vec![format!("({},)", firsts.join(", "))]
        }
        Type::Array(array) => {
            let length = array.len.to_token_stream();
            values_of(&array.elem)
                .iter()
                .map(|value| {
                    format!("{{ let all: [_; {length}] = std::array::from_fn(|_| {value}); all }}")
                })
                .collect()
        }
        Type::Reference(reference) if reference.mutability.is_none() => match &*reference.elem {
            Type::Path(path) if path.path.is_ident("str") => texts(&["\"\"", "\"xyzzy\""]),
            Type::Slice(_) => texts(&["&[]"]),
            _ => Vec::new(),
        },
        _ => Vec::new(),
    }
}

fn others(op: &BinOp) -> &'static [&'static str] {
    match op {
        BinOp::Eq(_) => &["!="],
        BinOp::Ne(_) => &["=="],
        BinOp::Lt(_) => &["==", ">", "<="],
        BinOp::Gt(_) => &["==", "<", ">="],
        BinOp::Le(_) => &[">"],
        BinOp::Ge(_) => &["<"],
        BinOp::And(_) => &["||"],
        BinOp::Or(_) => &["&&"],
        BinOp::Add(_) => &["-", "*"],
        BinOp::Sub(_) => &["+", "/"],
        BinOp::Mul(_) => &["+", "/"],
        BinOp::Div(_) => &["%", "*"],
        BinOp::Rem(_) => &["/", "+"],
        BinOp::Shl(_) => &[">>"],
        BinOp::Shr(_) => &["<<"],
        BinOp::BitAnd(_) => &["|", "^"],
        BinOp::BitOr(_) => &["&", "^"],
        BinOp::BitXor(_) => &["|", "&"],
        BinOp::AddAssign(_) => &["-=", "*="],
        BinOp::SubAssign(_) => &["+=", "/="],
        BinOp::MulAssign(_) => &["+=", "/="],
        BinOp::DivAssign(_) => &["%=", "*="],
        BinOp::RemAssign(_) => &["/=", "+="],
        BinOp::BitAndAssign(_) => &["|=", "^="],
        BinOp::BitOrAssign(_) => &["&=", "^="],
        BinOp::BitXorAssign(_) => &["|=", "&="],
        BinOp::ShlAssign(_) => &[">>="],
        BinOp::ShrAssign(_) => &["<<="],
        _ => &[],
    }
}

fn has_let(expr: &Expr) -> bool {
    match expr {
        Expr::Let(_) => true,
        Expr::Binary(binary) => has_let(&binary.left) || has_let(&binary.right),
        _ => false,
    }
}

impl<'ast> Visit<'ast> for Finder<'_> {
    fn visit_item_mod(&mut self, item: &'ast syn::ItemMod) {
        if !is_test(&item.attrs) {
            visit::visit_item_mod(self, item);
        }
    }

    fn visit_item_fn(&mut self, item: &'ast syn::ItemFn) {
        if !is_test(&item.attrs) {
            self.function(&item.sig, &item.block);
        }
    }

    fn visit_impl_item_fn(&mut self, item: &'ast syn::ImplItemFn) {
        if !is_test(&item.attrs) {
            self.function(&item.sig, &item.block);
        }
    }

    fn visit_item_impl(&mut self, item: &'ast syn::ItemImpl) {
        if is_test(&item.attrs) {
            return;
        }
        let name = item.self_ty.to_token_stream().to_string().replace(' ', "");
        self.path.push(name);
        visit::visit_item_impl(self, item);
        self.path.pop();
    }

    fn visit_item_const(&mut self, _: &'ast syn::ItemConst) {}

    fn visit_item_static(&mut self, _: &'ast syn::ItemStatic) {}

    fn visit_impl_item_const(&mut self, _: &'ast syn::ImplItemConst) {}

    fn visit_type(&mut self, _: &'ast Type) {}

    fn visit_expr_repeat(&mut self, repeat: &'ast syn::ExprRepeat) {
        self.visit_expr(&repeat.expr);
    }

    fn visit_expr_binary(&mut self, binary: &'ast syn::ExprBinary) {
        if !has_let(&binary.left) && !has_let(&binary.right) {
            let (left, right) = (self.slice(&*binary.left), self.slice(&*binary.right));
            let to = others(&binary.op)
                .iter()
                .map(|op| format!("({left}) {op} ({right})"))
                .collect();
            let from = self.slice(binary).to_owned();
            self.add(range(binary.span()), Kind::Operator, from, to);
        }
        visit::visit_expr_binary(self, binary);
    }

    fn visit_expr_unary(&mut self, unary: &'ast syn::ExprUnary) {
        if matches!(unary.op, UnOp::Not(_) | UnOp::Neg(_)) {
            let to = vec![self.slice(&*unary.expr).to_owned()];
            let from = self.slice(unary).to_owned();
            self.add(range(unary.span()), Kind::Sign, from, to);
        }
        visit::visit_expr_unary(self, unary);
    }

    fn visit_expr_match(&mut self, matched: &'ast syn::ExprMatch) {
        let is_wild = |arm: &syn::Arm| matches!(arm.pat, syn::Pat::Wild(_)) && arm.guard.is_none();
        let has_wild = matched.arms.iter().any(is_wild);
        for arm in &matched.arms {
            let from = self.slice(&arm.pat).to_owned();
            if let Some((_, guard)) = &arm.guard {
                if !has_let(guard) {
                    let span = range(guard.span());
                    let to = vec!["true".to_owned(), "false".to_owned()];
                    let guarded = self.slice(&**guard).to_owned();
                    self.add(span, Kind::Guard, guarded, to);
                }
            } else if has_wild && !is_wild(arm) {
                let end = range(arm.pat.span()).1;
                self.add((end, end), Kind::Arm, from, vec![String::new()]);
            }
        }
        visit::visit_expr_match(self, matched);
    }
}
