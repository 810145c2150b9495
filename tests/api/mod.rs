//! Lists a crate's public items from its sources.

mod modules;
mod text;

use modules::{Crate, Found};
use std::collections::{BTreeMap, BTreeSet};
use std::path::Path;
use syn::{Fields, ImplItem, Item, TraitItem, Visibility};
use text::{attributes, derives, tidy};

/// One line for each public item, field, variant, method and trait, sorted.
pub(crate) fn list(lib: &Path) -> String {
    let crate_ = Crate::read(lib);
    let mut listing = Listing { crate_: &crate_, lines: BTreeSet::new(), named: BTreeMap::new() };
    listing.module(&[], "hoofgeo");
    listing.impls();
    listing.lines.into_iter().collect::<Vec<_>>().join("\n") + "\n"
}

fn is_hidden(attributes: &[syn::Attribute]) -> bool {
    attributes
        .iter()
        .any(|a| a.path().is_ident("doc") && a.parse_args::<syn::Ident>().is_ok_and(|word| word == "hidden"))
}

struct Listing<'a> {
    crate_: &'a Crate,
    lines: BTreeSet<String>,
    /// Where a type is defined, and the names it has outside.
    named: BTreeMap<(Vec<String>, String), BTreeSet<String>>,
}

impl Listing<'_> {
    fn module(&mut self, path: &[String], outside: &str) {
        let module = self.crate_.module(path);
        for item in &module.items {
            match item {
                // Hidden from the documentation: for our own tools, no promise to anybody.
                Item::Mod(m) if is_public(&m.vis) && is_hidden(&m.attrs) => {}
                Item::Mod(m) if is_public(&m.vis) => {
                    let mut below = path.to_vec();
                    below.push(m.ident.to_string());
                    let name = format!("{outside}::{}", m.ident);
                    self.lines.insert(format!("mod {name}{}", attributes(&m.attrs)));
                    self.module(&below, &name);
                }
                Item::Use(u) if is_public(&u.vis) => {
                    for (name, target) in modules::leaves(&u.tree) {
                        self.reexported(path, outside, &name, &target, &attributes(&u.attrs));
                    }
                }
                // What a macro of the library makes is public as far as its call says.
                Item::Macro(m) if module.makes_public(m) => {
                    self.called(outside, m);
                    for name in modules::made_by_macro(m) {
                        self.named
                            .entry((path.to_vec(), name.clone()))
                            .or_default()
                            .insert(format!("{outside}::{name}"));
                    }
                }
                item if modules::visibility(item).is_some_and(is_public) => self.item(path, outside, item),
                Item::Macro(m) if m.attrs.iter().any(|a| a.path().is_ident("macro_export")) => {
                    self.lines.insert(format!("macro hoofgeo::{}!", m.ident.as_ref().unwrap()));
                }
                _ => {}
            }
        }
    }

    fn reexported(&mut self, from: &[String], outside: &str, name: &str, target: &[String], cfg: &str) {
        match self.crate_.resolve(from, target) {
            Some(Found::Module(path)) => self.module(&path, &format!("{outside}::{name}")),
            Some(Found::Item(path, item)) => self.item(&path, outside, item),
            Some(Found::MadeByMacro(path, call)) => {
                self.called(outside, call);
                let original = target.last().unwrap().clone();
                self.named.entry((path, original)).or_default().insert(format!("{outside}::{name}"));
            }
            None => {
                self.lines.insert(format!("{outside}::{name} = {}{cfg}", target.join("::")));
            }
        }
    }

    /// What a macro makes is listed as its call, definitions in words left out.
    fn called(&mut self, outside: &str, call: &syn::ItemMacro) {
        self.lines.insert(format!(
            "{outside}: {}! {{ {} }}",
            tidy(&call.mac.path),
            text::without_words(&tidy(&call.mac.tokens))
        ));
    }

    fn item(&mut self, path: &[String], outside: &str, item: &Item) {
        let at = |name: &dyn ToString| format!("{outside}::{}", name.to_string());
        match item {
            Item::Fn(f) => {
                let text =
                    tidy(&f.sig).replacen(&format!("fn {}", f.sig.ident), &format!("fn {}", at(&f.sig.ident)), 1);
                self.lines.insert(format!("{text}{}", attributes(&f.attrs)));
            }
            Item::Const(c) => {
                self.lines.insert(format!("const {}: {}{}", at(&c.ident), tidy(&c.ty), attributes(&c.attrs)));
            }
            Item::Static(s) => {
                self.lines.insert(format!("static {}: {}{}", at(&s.ident), tidy(&s.ty), attributes(&s.attrs)));
            }
            Item::Type(t) => {
                self.lines.insert(format!(
                    "type {}{} = {}{}",
                    at(&t.ident),
                    tidy(&t.generics),
                    tidy(&t.ty),
                    attributes(&t.attrs)
                ));
            }
            Item::Struct(s) => {
                let name = at(&s.ident);
                self.named.entry((path.to_vec(), s.ident.to_string())).or_default().insert(name.clone());
                let hidden = if s.fields.iter().any(|f| !is_public(&f.vis)) { " (with private fields)" } else { "" };
                self.lines.insert(format!("struct {name}{}{hidden}{}", tidy(&s.generics), attributes(&s.attrs)));
                self.derived(&name, &s.attrs);
                for (i, field) in s.fields.iter().enumerate().filter(|(_, f)| is_public(&f.vis)) {
                    let field_name = field.ident.as_ref().map_or(i.to_string(), ToString::to_string);
                    self.lines.insert(format!("{name}.{field_name}: {}", tidy(&field.ty)));
                }
            }
            Item::Enum(e) => {
                let name = at(&e.ident);
                self.named.entry((path.to_vec(), e.ident.to_string())).or_default().insert(name.clone());
                self.lines.insert(format!("enum {name}{}{}", tidy(&e.generics), attributes(&e.attrs)));
                self.derived(&name, &e.attrs);
                for variant in &e.variants {
                    let fields = if variant.fields == Fields::Unit { String::new() } else { tidy(&variant.fields) };
                    self.lines.insert(format!("{name}::{}{fields}{}", variant.ident, attributes(&variant.attrs)));
                }
            }
            Item::Trait(t) => {
                let name = at(&t.ident);
                self.lines.insert(format!("trait {name}{}: {}", tidy(&t.generics), tidy(&t.supertraits)));
                for item in &t.items {
                    if let TraitItem::Fn(f) = item {
                        let provided = if f.default.is_some() { " (provided)" } else { "" };
                        self.lines.insert(format!("{name}: {}{provided}", tidy(&f.sig)));
                    }
                }
            }
            other => panic!("not listed: {}", tidy(other)),
        }
    }

    fn derived(&mut self, name: &str, attributes: &[syn::Attribute]) {
        for (cfg, derived) in derives(attributes) {
            self.lines.insert(format!("impl {derived} for {name}{cfg}"));
        }
    }

    /// Methods and traits of types that have a name outside, wherever they are implemented.
    fn impls(&mut self) {
        let named = std::mem::take(&mut self.named);
        for (path, module) in self.crate_.modules() {
            for item in &module.items {
                let Item::Impl(block) = item else { continue };
                let syn::Type::Path(of) = &*block.self_ty else { continue };
                let target: Vec<String> = of.path.segments.iter().map(|s| s.ident.to_string()).collect();
                let Some((defined, name)) = self.crate_.defined(path, &target) else { continue };
                for outside in named.get(&(defined, name)).into_iter().flatten() {
                    let cfg = attributes(&block.attrs);
                    if let Some((_, of_trait, _)) = &block.trait_ {
                        self.lines.insert(format!("impl {} for {outside}{cfg}", tidy(of_trait)));
                        continue;
                    }
                    for item in &block.items {
                        match item {
                            ImplItem::Fn(f) if is_public(&f.vis) => {
                                self.lines.insert(format!("{outside}: {}{}{cfg}", tidy(&f.sig), attributes(&f.attrs)));
                            }
                            ImplItem::Const(c) if is_public(&c.vis) => {
                                self.lines.insert(format!("{outside}: const {}: {}{cfg}", c.ident, tidy(&c.ty)));
                            }
                            _ => {}
                        }
                    }
                }
            }
        }
    }
}

fn is_public(visibility: &Visibility) -> bool {
    matches!(visibility, Visibility::Public(_))
}
