//! Circles of files: within a crate, what a file uses never uses that file, directly or by others.

use crate::modules::{Import, Kind, Modules, Read, Target, is_test};
use crate::source::{members, root, short};
use proc_macro2::{TokenStream, TokenTree};
use std::collections::{BTreeMap, BTreeSet};
use std::fmt;
use std::path::{Path, PathBuf};
use syn::punctuated::Punctuated;
use syn::visit::{self, Visit};
use syn::{Expr, Token};

/// Files of a crate each of which needs all others.
pub struct Circle {
    /// Sorted.
    pub files: Vec<PathBuf>,
    uses: BTreeSet<Use>,
}

/// A file uses an item of another file of its crate.
#[derive(Clone, PartialEq, Eq, PartialOrd, Ord)]
pub struct Use {
    pub by: PathBuf,
    pub of: PathBuf,
    /// Path of the item from the crate root, wherever it was taken from.
    pub item: String,
}

impl fmt::Display for Circle {
    fn fmt(&self, f: &mut fmt::Formatter) -> fmt::Result {
        writeln!(f, "circle of {} files:", self.files.len())?;
        for edge in &self.uses {
            let (by, of) = (short(&edge.by), short(&edge.of));
            writeln!(f, "  {by} uses `{}` of {of}", edge.item)?;
        }
        Ok(())
    }
}

/// Circles among the files of the crate with this root file.
pub fn circles(root: &Path, read: Read) -> Vec<Circle> {
    let uses = uses(&Modules::of(root, read));
    let mut reached: BTreeMap<&Path, BTreeSet<&Path>> = BTreeMap::new();
    for edge in &uses {
        let mut open = vec![&*edge.of];
        let found = reached.entry(&edge.by).or_default();
        while let Some(file) = open.pop() {
            if found.insert(file) {
                open.extend(uses.iter().filter(|u| u.by == file).map(|u| &*u.of));
            }
        }
    }
    let mut found = Vec::new();
    for (file, others) in &reached {
        let back = |other: &&&Path| reached.get(**other).is_some_and(|r| r.contains(file));
        let files = others.iter().filter(back).map(|f| f.to_path_buf());
        let files: Vec<PathBuf> = files.collect();
        // Once for each circle: at its first file.
        if files.first().is_some_and(|first| first == file) {
            let within = |edge: &&Use| files.contains(&edge.by) && files.contains(&edge.of);
            let uses = uses.iter().filter(within).cloned().collect();
            found.push(Circle { files, uses });
        }
    }
    found
}

/// Circles of a crate in a folder of the repository.
pub fn circles_of(folder: &str) -> Vec<Circle> {
    let crate_root = ["lib.rs", "main.rs"]
        .map(|name| root().join(folder).join(name))
        .into_iter()
        .find(|file| file.is_file())
        .unwrap_or_else(|| panic!("{folder} has no crate root"));
    circles(&crate_root, &|file| std::fs::read_to_string(file).ok())
}

/// What files of a crate use of one another outside tests.
fn uses(modules: &Modules) -> BTreeSet<Use> {
    let mut found = BTreeSet::new();
    for (at, module) in modules.0.iter().enumerate() {
        let mut finder = Finder {
            modules,
            at,
            locals: Locals::default(),
            found: &mut found,
        };
        for import in &module.imports {
            finder.import(import);
        }
        for item in &module.items {
            finder.locals.0.clear();
            finder.locals.visit_item(item);
            finder.visit_item(item);
        }
    }
    found
}

/// Looks for uses in the code of one module.
struct Finder<'a> {
    modules: &'a Modules,
    at: usize,
    /// Names that the item at hand binds: they stand for no other item.
    locals: Locals,
    found: &'a mut BTreeSet<Use>,
}

impl Finder<'_> {
    fn import(&mut self, import: &Import) {
        if self.modules.is_facade(self.at, import) {
            return;
        }
        let targets = self.modules.resolve(self.at, &import.path);
        let modules = targets.iter().filter_map(|target| match target {
            Target::Module(module) => Some(*module),
            Target::Item { .. } => None,
        });
        if import.glob {
            // What only passes names on is none of those whom one depends on.
            for module in modules.filter(|at| !self.modules.0[*at].items.is_empty()) {
                self.add(module, "*");
            }
        } else if modules.count() > 0 {
            // The paths that start with its name tell.
            return;
        }
        for target in &targets {
            if let Target::Item { module, name, .. } = target {
                self.add(*module, name);
            }
        }
    }

    fn path(&mut self, path: &[String], is_macro: bool) {
        if path.len() == 1 && !is_macro && self.locals.0.contains(&path[0]) {
            return;
        }
        for target in self.modules.resolve(self.at, path) {
            if let Target::Item { module, name, kind } = target
                && (kind == Kind::Macro) == is_macro
            {
                self.add(module, &name);
            }
        }
    }

    fn add(&mut self, module: usize, name: &str) {
        let by = &self.modules.0[self.at].file;
        let module = &self.modules.0[module];
        if module.file != *by {
            let path = module.path.iter().map(String::as_str);
            self.found.insert(Use {
                by: by.clone(),
                of: module.file.clone(),
                item: path.chain([name]).collect::<Vec<_>>().join("::"),
            });
        }
    }

    /// Paths in what a macro takes or makes, as far as that can be told from single tokens.
    fn tokens(&mut self, tokens: TokenStream) {
        let tokens: Vec<TokenTree> = tokens.into_iter().collect();
        let sign = |at: usize, sign: char| match tokens.get(at) {
            Some(TokenTree::Punct(punct)) => punct.as_char() == sign,
            _ => false,
        };
        let mut at = 0;
        while at < tokens.len() {
            if let TokenTree::Group(group) = &tokens[at] {
                self.tokens(group.stream());
            }
            let start = at;
            let mut path = Vec::new();
            while let Some(TokenTree::Ident(name)) = tokens.get(at) {
                path.push(name.to_string());
                at += 1;
                if !(sign(at, ':') && sign(at + 1, ':')) {
                    break;
                }
                at += 2;
            }
            let after = |mark| start > 0 && sign(start - 1, mark);
            // Fields, parts of longer paths, lifetimes and names that the macro is given.
            let other = after('.') || after(':') && start > 1 && sign(start - 2, ':');
            let given = after('\'') || after('$') && path.first().is_some_and(|p| p != "crate");
            let is_field = path.len() == 1 && sign(at, ':');
            if !path.is_empty() && !other && !given && !is_field {
                self.path(&path, sign(at, '!'));
            }
            at = at.max(start + 1);
        }
    }
}

fn names(path: &syn::Path) -> Vec<String> {
    let segments = path.segments.iter();
    segments.map(|part| part.ident.to_string()).collect()
}

impl<'ast> Visit<'ast> for Finder<'_> {
    fn visit_path(&mut self, path: &'ast syn::Path) {
        if path.leading_colon.is_none() {
            self.path(&names(path), false);
        }
        visit::visit_path(self, path);
    }

    fn visit_pat_ident(&mut self, pattern: &'ast syn::PatIdent) {
        if is_constant(&pattern.ident) {
            self.path(&[pattern.ident.to_string()], false);
        }
        visit::visit_pat_ident(self, pattern);
    }

    fn visit_macro(&mut self, mac: &'ast syn::Macro) {
        self.path(&names(&mac.path), true);
        match mac.parse_body_with(Punctuated::<Expr, Token![,]>::parse_terminated) {
            Ok(parts) => parts.iter().for_each(|part| self.visit_expr(part)),
            Err(_) => self.tokens(mac.tokens.clone()),
        }
    }

    // Imports are looked at for the whole module; neither of the others uses anything.
    fn visit_item_use(&mut self, _: &'ast syn::ItemUse) {}
    fn visit_visibility(&mut self, _: &'ast syn::Visibility) {}
    fn visit_attribute(&mut self, _: &'ast syn::Attribute) {}

    fn visit_impl_item_fn(&mut self, function: &'ast syn::ImplItemFn) {
        if !is_test(&function.attrs) {
            visit::visit_impl_item_fn(self, function);
        }
    }
}

/// Names bound by patterns.
#[derive(Default)]
struct Locals(BTreeSet<String>);

impl<'ast> Visit<'ast> for Locals {
    fn visit_pat_ident(&mut self, pattern: &'ast syn::PatIdent) {
        if !is_constant(&pattern.ident) {
            self.0.insert(pattern.ident.to_string());
        }
        visit::visit_pat_ident(self, pattern);
    }
}

/// Whether a name in a pattern is that of a constant or a variant.
fn is_constant(name: &syn::Ident) -> bool {
    name.to_string().starts_with(char::is_uppercase)
}

#[test]
fn no_files_of_a_crate_stand_in_a_circle() {
    let folders = members().into_iter().chain(["src/cli".to_owned()]);
    let found: Vec<String> = folders
        .flat_map(|folder| circles_of(&folder))
        .map(|circle| circle.to_string())
        .collect();
    assert!(found.is_empty(), "{}", found.join("\n"));
}

/// Circles among made-up files, a line for each: files of each circle, and uses within circles.
fn circles_among(lines: &str) -> (Vec<String>, Vec<String>) {
    let files: BTreeMap<&Path, &str> = lines
        .lines()
        .filter_map(|line| line.trim().split_once(": "))
        .map(|(file, text)| (Path::new(file), text))
        .collect();
    let found = circles(Path::new("lib.rs"), &|file| {
        files.get(file).map(|text| (*text).to_owned())
    });
    let in_a_row = |circle: &Circle| circle.files.iter().map(|f| short(f)).collect::<Vec<_>>();
    let told = |edge: &Use| format!("{} {}", short(&edge.by), edge.item);
    (
        found.iter().map(|c| in_a_row(c).join(" ")).collect(),
        found.iter().flat_map(|c| c.uses.iter().map(told)).collect(),
    )
}

#[test]
fn two_files_that_use_each_other_are_a_circle() {
    let (found, uses) = circles_among(
        "lib.rs: mod a; mod b; mod c;
        a.rs: use crate::b::B; pub struct A(B); pub enum E { One }
        b.rs: pub struct B; fn f() { assert!(matches!(1, super::a::E::One if true)) }
        c.rs: use crate::a::A; use super::b; fn f(_: A, _: b::B) {}",
    );
    assert_eq!(found, ["a.rs b.rs"]);
    assert_eq!(uses, ["a.rs b::B", "b.rs a::E"]);
}

#[test]
fn three_files_are_a_circle_also_by_macros_and_globs() {
    let (found, uses) = circles_among(
        "lib.rs: mod a; mod b;
        a.rs: use super::b::table; table! { 1 } pub fn a() {}
        b/mod.rs: mod c; macro_rules! table { () => { c::C } } pub(crate) use table;
        b/c.rs: use crate::a::*; pub const C: u8 = 1;",
    );
    assert_eq!(found, ["a.rs b/c.rs b/mod.rs"]);
    assert_eq!(uses, ["a.rs b::table", "b/c.rs a::*", "b/mod.rs b::c::C"]);
}

#[test]
fn what_a_parent_passes_on_is_its_childs() {
    let (found, uses) = circles_among(
        "lib.rs: mod m; pub use m::A;
        m.rs: mod a; mod b; mod c; pub use a::{A, make}; pub(crate) use b::*;
        m/a.rs: use super::B; pub struct A; pub fn make(_: B) {}
        m/b.rs: use super::*; pub struct B; pub fn b() { crate::A::new() }
        m/c.rs: use super::*; pub fn c(_: B) {}",
    );
    assert_eq!(found, ["m/a.rs m/b.rs"]);
    assert_eq!(uses, ["m/a.rs m::b::B", "m/b.rs m::a::A"]);
}

#[test]
fn a_parent_that_uses_what_it_passes_on_depends_on_it() {
    for (parent, is_circle) in [
        ("pub use a::{A, make}; fn f(make: u8) { g(make) }", false),
        ("pub use a::{A, make}; fn f() { g(make) }", true),
        ("pub use a::A; fn f(a: A) {}", true),
        ("use a::A;", true),
        ("fn f() { a::make() }", true),
    ] {
        let (found, _) = circles_among(&format!(
            "lib.rs: mod m;
            m.rs: mod a; pub struct Own; {parent}
            m/a.rs: use super::Own; pub struct A(Own); pub fn make() {{}}"
        ));
        assert_eq!(!found.is_empty(), is_circle, "{parent}");
    }
}

#[test]
fn tests_close_no_circle() {
    let files = "lib.rs: mod a; mod b; #[cfg(test)] mod fixture;
        a.rs: use crate::b::B; pub struct A; impl A { #[cfg(test)] fn f(_: crate::b::C) {} }
        b.rs: pub struct B; #[cfg(test)] mod tests { use crate::a::A; }
        fixture.rs: use crate::a::A;";
    assert!(circles_among(files).0.is_empty());
    let also_for_unix = files.replace("(test)", "(any(test, unix))");
    assert_eq!(circles_among(&also_for_unix).0, ["a.rs b.rs"]);
}
