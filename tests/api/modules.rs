//! The modules of a crate, and what a path leads to.

use std::collections::BTreeMap;
use std::path::Path;
use syn::{Item, UseTree, Visibility};

/// All modules of a crate by their path.
pub(crate) struct Crate(BTreeMap<Vec<String>, Module>);

/// A module's items, those of its tests left out.
pub(crate) struct Module {
    pub(crate) items: Vec<Item>,
}

/// What a path leads to.
pub(crate) enum Found<'a> {
    Module(Vec<String>),
    Item(Vec<String>, &'a Item),
    MadeByMacro(Vec<String>, &'a syn::ItemMacro),
}

impl Module {
    /// Whether an item is the call of a macro that makes something public.
    pub(crate) fn makes_public(&self, call: &syn::ItemMacro) -> bool {
        let of_call = |m: &syn::ItemMacro| m.ident.as_ref().is_some_and(|name| call.mac.path.is_ident(name));
        let makes = |m: &syn::ItemMacro| super::text::tidy(&m.mac.tokens).contains("pub ");
        call.ident.is_none() && self.items.iter().any(|i| matches!(i, Item::Macro(m) if of_call(m) && makes(m)))
    }
}

impl Crate {
    pub(crate) fn read(lib: &Path) -> Self {
        let mut all = Self(BTreeMap::new());
        all.add(Vec::new(), lib, lib.parent().unwrap());
        all
    }

    fn add(&mut self, path: Vec<String>, file: &Path, folder: &Path) {
        let text = std::fs::read_to_string(file).unwrap_or_else(|e| panic!("{}: {e}", file.display()));
        let parsed = syn::parse_file(&text).unwrap_or_else(|e| panic!("{}: {e}", file.display()));
        let items: Vec<Item> = parsed.items.into_iter().filter(|i| !is_test(i)).collect();
        for item in &items {
            let Item::Mod(m) = item else { continue };
            assert!(m.content.is_none(), "{}: a module within a file is not listed", file.display());
            let name = m.ident.to_string();
            let (flat, nested) = (folder.join(format!("{name}.rs")), folder.join(&name).join("mod.rs"));
            let mut below = path.clone();
            below.push(name.clone());
            self.add(below, if flat.exists() { &flat } else { &nested }, &folder.join(&name));
        }
        self.0.insert(path, Module { items });
    }

    pub(crate) fn module(&self, path: &[String]) -> &Module {
        &self.0[path]
    }

    pub(crate) fn modules(&self) -> impl Iterator<Item = (&Vec<String>, &Module)> {
        self.0.iter()
    }

    /// What `target`, written in the module `from`, leads to; nothing where that is another crate's.
    pub(crate) fn resolve(&self, from: &[String], target: &[String]) -> Option<Found<'_>> {
        let mut at = from.to_vec();
        let mut rest = target;
        while let [first, behind @ ..] = rest {
            match first.as_str() {
                "crate" => at.clear(),
                "self" => {}
                "super" => drop(at.pop()),
                _ => break,
            }
            rest = behind;
        }
        let [name, behind @ ..] = rest else { return Some(Found::Module(at)) };
        let mut below = at.clone();
        below.push(name.clone());
        let is_module = self.0.contains_key(&below);
        if is_module && !behind.is_empty() {
            return self.resolve(&below, behind);
        }
        let module = self.0.get(&at)?;
        for item in &module.items {
            match item {
                Item::Use(u) => {
                    let led = leaves(&u.tree).into_iter().find(|(n, _)| n == name);
                    if let Some((_, path)) = led
                        && path != rest
                    {
                        let whole: Vec<String> = path.into_iter().chain(behind.iter().cloned()).collect();
                        return self.resolve(&at, &whole);
                    }
                }
                Item::Macro(m) if module.makes_public(m) && made_by_macro(m).contains(name) => {
                    return Some(Found::MadeByMacro(at, m));
                }
                item if item_name(item).as_ref() == Some(name) => return Some(Found::Item(at, item)),
                _ => {}
            }
        }
        // A function may have its module's name.
        is_module.then_some(Found::Module(below))
    }

    /// Where a type is defined that is written so in a module.
    pub(crate) fn defined(&self, from: &[String], target: &[String]) -> Option<(Vec<String>, String)> {
        match self.resolve(from, target)? {
            Found::Module(_) => None,
            Found::Item(path, item) => Some((path, item_name(item)?)),
            Found::MadeByMacro(path, _) => Some((path, target.last()?.clone())),
        }
    }
}

fn is_test(item: &Item) -> bool {
    let attributes = match item {
        Item::Mod(m) => &m.attrs,
        Item::Fn(f) => &f.attrs,
        Item::Impl(i) => &i.attrs,
        Item::Use(u) => &u.attrs,
        _ => return false,
    };
    let for_tests = |cfg: &str| cfg == "cfg(test)" || cfg.starts_with("cfg(all(test,");
    attributes.iter().any(|a| a.path().is_ident("cfg") && for_tests(&super::text::tidy(&a.meta)))
}

/// The names that a `use` brings in, with the paths they stand for.
pub(crate) fn leaves(tree: &UseTree) -> Vec<(String, Vec<String>)> {
    match tree {
        UseTree::Path(p) => leaves(&p.tree)
            .into_iter()
            .map(|(name, path)| {
                let first = p.ident.to_string();
                // `use a::{self}` names a.
                let name = if name == "self" { first.clone() } else { name };
                (name, std::iter::once(first).chain(path.into_iter().filter(|s| s != "self")).collect())
            })
            .collect(),
        UseTree::Name(n) => vec![(n.ident.to_string(), vec![n.ident.to_string()])],
        UseTree::Rename(r) => vec![(r.rename.to_string(), vec![r.ident.to_string()])],
        UseTree::Group(g) => g.items.iter().flat_map(leaves).collect(),
        UseTree::Glob(_) => Vec::new(),
    }
}

/// The name of the type that a macro's call makes: the first word behind its documentation.
pub(crate) fn made_by_macro(call: &syn::ItemMacro) -> Vec<String> {
    let text = super::text::tidy(&call.mac.tokens);
    let words = text.split(|c: char| !c.is_alphanumeric() && c != '_');
    words.filter(|w| w.starts_with(char::is_uppercase)).map(str::to_owned).collect()
}

fn item_name(item: &Item) -> Option<String> {
    let name = match item {
        Item::Const(i) => &i.ident,
        Item::Enum(i) => &i.ident,
        Item::Fn(i) => &i.sig.ident,
        Item::Static(i) => &i.ident,
        Item::Struct(i) => &i.ident,
        Item::Trait(i) => &i.ident,
        Item::Type(i) => &i.ident,
        _ => return None,
    };
    Some(name.to_string())
}

pub(crate) fn visibility(item: &Item) -> Option<&Visibility> {
    match item {
        Item::Const(i) => Some(&i.vis),
        Item::Enum(i) => Some(&i.vis),
        Item::Fn(i) => Some(&i.vis),
        Item::Static(i) => Some(&i.vis),
        Item::Struct(i) => Some(&i.vis),
        Item::Trait(i) => Some(&i.vis),
        Item::Type(i) => Some(&i.vis),
        _ => None,
    }
}
