//! The modules of a crate, read from its source text, and the item that a path in them leads to.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use syn::punctuated::Punctuated;
use syn::visit::Visit;
use syn::{Attribute, Item, Meta, Token, UseTree, Visibility};

/// Gives the text of a file, or nothing where there is none.
pub type Read<'a> = &'a dyn Fn(&Path) -> Option<String>;

/// Modules of a crate that are not for tests only; the crate root is the first.
pub struct Modules(pub Vec<Module>);

/// A module, in a file of its own or inline in another's.
#[derive(Default)]
pub struct Module {
    pub file: PathBuf,
    /// Names from the crate root down to it.
    pub path: Vec<String>,
    /// What it has besides imports and modules.
    pub items: Vec<Item>,
    pub imports: Vec<Import>,
    parent: usize,
    /// The outermost module in the same file.
    home: usize,
    /// Its items and modules by name.
    names: BTreeMap<String, Vec<Target>>,
}

/// One name, or all names of a module or an enum, that a `use` brings in.
pub struct Import {
    /// Under which the module knows it; a glob gives none.
    name: Option<String>,
    pub path: Vec<String>,
    pub glob: bool,
    /// Seen from outside the module, too.
    pub passed_on: bool,
}

/// What a path leads to.
#[derive(Clone)]
pub enum Target {
    Module(usize),
    /// An item; what belongs to a type, such as a variant or a function, counts as that type.
    Item {
        module: usize,
        name: String,
        kind: Kind,
    },
}

#[derive(Clone, Copy, PartialEq, Eq)]
pub enum Kind {
    Type,
    Value,
    Macro,
}

impl Modules {
    /// Reads the crate with this root file.
    pub fn of(root: &Path, read: Read) -> Self {
        let mut modules = Self(Vec::new());
        let items = parse(root, read).expect("a crate root that is no test");
        let module = Module {
            file: root.to_owned(),
            ..Module::default()
        };
        modules.add(module, items, root.parent().unwrap(), read);
        modules
    }

    /// Whatever a path that stands in a module may lead to within the crate.
    pub fn resolve(&self, from: usize, path: &[String]) -> Vec<Target> {
        self.follow(from, path, &mut Vec::new())
    }

    /// Whether an import hands on what modules below the file have, without using it itself.
    pub fn is_facade(&self, at: usize, import: &Import) -> bool {
        let to = import.path.len() - usize::from(!import.glob);
        let home = &self.0[self.0[at].home].path;
        let is_below = |path: &[String]| path.len() > home.len() && path.starts_with(home);
        let through = self.resolve(at, &import.path[..to]);
        import.passed_on
            && through.iter().any(|target| match target {
                Target::Module(module) => is_below(&self.0[*module].path),
                Target::Item { .. } => false,
            })
    }

    /// Adds a module with what stands in it; its modules in files of their own lie in `folder`.
    fn add(&mut self, module: Module, items: Vec<Item>, folder: &Path, read: Read) -> usize {
        let at = self.0.len();
        self.0.push(module);
        for item in items {
            let child = match item {
                item if is_test(attributes(&item)) => continue,
                Item::Mod(child) => child,
                Item::Use(item) => {
                    self.0[at].imports.extend(imports(&item));
                    continue;
                }
                other => {
                    if let Some((name, kind)) = name_of(&other) {
                        let target = Target::Item {
                            module: at,
                            name: name.clone(),
                            kind,
                        };
                        self.0[at].name(name, target);
                    }
                    let mut inner = Inner(Vec::new());
                    inner.visit_item(&other);
                    self.0[at].imports.extend(inner.0);
                    self.0[at].items.push(other);
                    continue;
                }
            };
            let name = child.ident.to_string();
            let below = folder.join(&name);
            let (file, home, items) = match child.content {
                Some((_, items)) => (self.0[at].file.clone(), self.0[at].home, items),
                None => {
                    let files = [below.with_extension("rs"), below.join("mod.rs")];
                    let file = files.into_iter().find(|file| read(file).is_some());
                    let file = file.unwrap_or_else(|| panic!("no file of {}", below.display()));
                    let Some(items) = parse(&file, read) else {
                        continue;
                    };
                    (file, self.0.len(), items)
                }
            };
            let path = [&self.0[at].path[..], std::slice::from_ref(&name)].concat();
            let module = Module {
                file,
                path,
                parent: at,
                home,
                ..Module::default()
            };
            let child = self.add(module, items, &below, read);
            self.0[at].name(name, Target::Module(child));
        }
        at
    }

    fn follow<'a>(
        &'a self,
        from: usize,
        path: &[String],
        open: &mut Vec<&'a Import>,
    ) -> Vec<Target> {
        let mut found = match path.first().map(String::as_str) {
            None => return Vec::new(),
            Some("crate") => vec![Target::Module(0)],
            Some("self") => vec![Target::Module(from)],
            Some("super") => vec![Target::Module(self.0[from].parent)],
            Some(name) => self.look_up(from, name, open),
        };
        for name in &path[1..] {
            let mut next = Vec::new();
            for target in found {
                match target {
                    Target::Module(module) if name == "super" => {
                        next.push(Target::Module(self.0[module].parent));
                    }
                    Target::Module(module) => next.extend(self.look_up(module, name, open)),
                    item @ Target::Item {
                        kind: Kind::Type, ..
                    } => next.push(item),
                    Target::Item { .. } => {}
                }
            }
            found = next;
        }
        found
    }

    /// What a name means in a module; imports in `open` are being followed already.
    fn look_up<'a>(&'a self, at: usize, name: &str, open: &mut Vec<&'a Import>) -> Vec<Target> {
        let module = &self.0[at];
        let mut found = module.names.get(name).cloned().unwrap_or_default();
        let has_name = |import: &&Import| import.name.as_deref() == Some(name);
        for import in module.imports.iter().filter(has_name) {
            found.extend(self.through(at, import, &import.path, open));
        }
        if found.is_empty() {
            for import in module.imports.iter().filter(|import| import.glob) {
                // Variants of an enum are not looked for: the import itself counts.
                let to = self.through(at, import, &import.path, open);
                if to.iter().any(|to| matches!(to, Target::Module(_))) {
                    let path = [&import.path[..], &[name.to_owned()]].concat();
                    found.extend(self.through(at, import, &path, open));
                }
            }
        }
        found
    }

    /// Follows a path of an import, unless that is what is being done.
    fn through<'a>(
        &'a self,
        at: usize,
        import: &'a Import,
        path: &[String],
        open: &mut Vec<&'a Import>,
    ) -> Vec<Target> {
        if open.iter().any(|known| std::ptr::eq(*known, import)) {
            return Vec::new();
        }
        open.push(import);
        let found = self.follow(at, path, open);
        open.pop();
        found
    }
}

impl Module {
    fn name(&mut self, name: String, target: Target) {
        self.names.entry(name).or_default().push(target);
    }
}

/// Imports within the bodies of functions; they count as the module's.
struct Inner(Vec<Import>);

impl<'ast> Visit<'ast> for Inner {
    fn visit_impl_item_fn(&mut self, function: &'ast syn::ImplItemFn) {
        if !is_test(&function.attrs) {
            syn::visit::visit_impl_item_fn(self, function);
        }
    }

    fn visit_item_use(&mut self, item: &'ast syn::ItemUse) {
        if !is_test(&item.attrs) {
            self.0.extend(imports(item));
        }
    }
}

/// Whether what has these attributes is compiled for tests only.
pub fn is_test(attributes: &[Attribute]) -> bool {
    fn needs_test(condition: &Meta) -> bool {
        let Meta::List(list) = condition else {
            return condition.path().is_ident("test");
        };
        let parts = list
            .parse_args_with(Punctuated::<Meta, Token![,]>::parse_terminated)
            .unwrap_or_default();
        if list.path.is_ident("any") {
            !parts.is_empty() && parts.iter().all(needs_test)
        } else {
            list.path.is_ident("all") && parts.iter().any(needs_test)
        }
    }
    attributes.iter().any(|attribute| match &attribute.meta {
        Meta::List(list) if list.path.is_ident("cfg") => {
            list.parse_args().is_ok_and(|inner| needs_test(&inner))
        }
        meta => meta.path().is_ident("test"),
    })
}

/// Items of a file, unless it is for tests only.
fn parse(file: &Path, read: Read) -> Option<Vec<Item>> {
    let text = read(file).unwrap_or_else(|| panic!("{}: no such file", file.display()));
    let parsed =
        syn::parse_file(&text).unwrap_or_else(|error| panic!("{}: {error}", file.display()));
    (!is_test(&parsed.attrs)).then_some(parsed.items)
}

fn imports(item: &syn::ItemUse) -> Vec<Import> {
    let mut found = Vec::new();
    let mut open = vec![(Vec::new(), &item.tree)];
    // A path that starts with `::` leads to another crate.
    if item.leading_colon.is_some() {
        open.clear();
    }
    while let Some((mut path, tree)) = open.pop() {
        let (last, alias) = match tree {
            UseTree::Path(part) => {
                path.push(part.ident.to_string());
                open.push((path, &part.tree));
                continue;
            }
            UseTree::Group(group) => {
                open.extend(group.items.iter().map(|tree| (path.clone(), tree)));
                continue;
            }
            UseTree::Glob(_) => (None, None),
            UseTree::Name(name) => (Some(&name.ident), None),
            UseTree::Rename(rename) => (Some(&rename.ident), Some(&rename.rename)),
        };
        path.extend(last.filter(|last| *last != "self").map(ToString::to_string));
        let glob = last.is_none();
        let name = alias.map(ToString::to_string);
        let name = name.or_else(|| path.last().filter(|_| !glob).cloned());
        found.push(Import {
            name,
            path,
            glob,
            passed_on: !matches!(item.vis, Visibility::Inherited),
        });
    }
    found
}

fn name_of(item: &Item) -> Option<(String, Kind)> {
    let (name, kind) = match item {
        Item::Struct(item) => (&item.ident, Kind::Type),
        Item::Enum(item) => (&item.ident, Kind::Type),
        Item::Trait(item) => (&item.ident, Kind::Type),
        Item::Type(item) => (&item.ident, Kind::Type),
        Item::Fn(item) => (&item.sig.ident, Kind::Value),
        Item::Const(item) => (&item.ident, Kind::Value),
        Item::Static(item) => (&item.ident, Kind::Value),
        Item::Macro(item) => (item.ident.as_ref()?, Kind::Macro),
        _ => return None,
    };
    Some((name.to_string(), kind))
}

fn attributes(item: &Item) -> &[Attribute] {
    match item {
        Item::Const(item) => &item.attrs,
        Item::Enum(item) => &item.attrs,
        Item::Fn(item) => &item.attrs,
        Item::Impl(item) => &item.attrs,
        Item::Macro(item) => &item.attrs,
        Item::Mod(item) => &item.attrs,
        Item::Static(item) => &item.attrs,
        Item::Struct(item) => &item.attrs,
        Item::Trait(item) => &item.attrs,
        Item::Type(item) => &item.attrs,
        Item::Use(item) => &item.attrs,
        _ => &[],
    }
}
