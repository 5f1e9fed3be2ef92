//! Every change of a source file at once, each behind a switch.
//!
//! An expression `a + b` becomes `if on(17) { a - b } else if on(18) { a * b } else { a + b }`, so that one
//! build holds all changes and a run chooses one (mutant schemata: Untch, Offutt & Harrold 1993).

use std::collections::BTreeSet;
use std::fmt;

use quote::quote;
use syn::visit_mut::{self, VisitMut};
use syn::{BinOp, Block, Expr, ExprBinary, ExprUnary, Item, ReturnType, Signature, UnOp};

/// One change.
#[derive(Debug, Clone)]
pub struct Change {
    /// Its number, from 1.
    pub id: u32,
    /// The file, from the crate's folder.
    pub file: String,
    /// Where it is.
    pub line: usize,
    /// What it does.
    pub what: String,
}

impl fmt::Display for Change {
    fn fmt(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(out, "{}:{}: {}", self.file, self.line, self.what)
    }
}

/// Puts changes behind switches.
pub struct Changer<'a> {
    /// The file, from the crate's folder.
    pub file: String,
    /// Changes that do not compile.
    pub dropped: &'a BTreeSet<u32>,
    /// All changes so far.
    pub changes: Vec<Change>,
    /// Number of the next.
    pub next: u32,
}

/// What stands in for an operator.
fn others(op: &BinOp) -> Vec<BinOp> {
    let of = |texts: &[&str]| {
        texts
            .iter()
            .map(|text| syn::parse_str(text).expect("an operator"))
            .collect()
    };
    match op {
        BinOp::Add(_) => of(&["-", "*"]),
        BinOp::Sub(_) => of(&["+", "/"]),
        BinOp::Mul(_) => of(&["+", "/"]),
        BinOp::Div(_) => of(&["*", "%"]),
        BinOp::Rem(_) => of(&["*"]),
        BinOp::And(_) => of(&["||"]),
        BinOp::Or(_) => of(&["&&"]),
        BinOp::Eq(_) => of(&["!="]),
        BinOp::Ne(_) => of(&["=="]),
        BinOp::Lt(_) => of(&["<=", ">"]),
        BinOp::Le(_) => of(&["<", ">"]),
        BinOp::Gt(_) => of(&[">=", "<"]),
        BinOp::Ge(_) => of(&[">", "<"]),
        BinOp::AddAssign(_) => of(&["-=", "*="]),
        BinOp::SubAssign(_) => of(&["+="]),
        BinOp::MulAssign(_) => of(&["/="]),
        BinOp::DivAssign(_) => of(&["*="]),
        _ => Vec::new(),
    }
}

fn is_test(attributes: &[syn::Attribute]) -> bool {
    attributes
        .iter()
        .any(|one| one.path().is_ident("test") || quote!(#one).to_string().contains("cfg (test)"))
}

/// `if let` chains cannot be taken apart.
fn holds_let(expr: &Expr) -> bool {
    match expr {
        Expr::Let(_) => true,
        Expr::Binary(of) => holds_let(&of.left) || holds_let(&of.right),
        Expr::Paren(of) => holds_let(&of.expr),
        _ => false,
    }
}

impl Changer<'_> {
    /// The number of a change, or `None` when it does not compile.
    fn add(&mut self, line: usize, what: String) -> Option<u32> {
        let id = self.next;
        self.next += 1;
        if self.dropped.contains(&id) {
            return None;
        }
        self.changes.push(Change {
            id,
            file: self.file.clone(),
            line,
            what,
        });
        Some(id)
    }

    /// The operands stand once, or nested sums would grow without end.
    fn binary(&mut self, of: &ExprBinary) -> Expr {
        let ExprBinary {
            left, op, right, ..
        } = of;
        let line = syn::spanned::Spanned::span(op).start().line;
        let ids: Vec<(u32, BinOp)> = others(op)
            .into_iter()
            .filter_map(|other| {
                let what = format!("{} to {}", quote!(#op), quote!(#other));
                Some((self.add(line, what)?, other))
            })
            .collect();
        if ids.is_empty() {
            return Expr::Binary(of.clone());
        }
        let arms = |left: proc_macro2::TokenStream, right: proc_macro2::TokenStream| {
            let mut out = quote! { { #left #op #right } };
            for (id, other) in ids.iter().rev() {
                out = quote! { { if crate::mutant::on(#id) { #left #other #right } else #out } };
            }
            out
        };
        let place = quote!(#left);
        match op {
            BinOp::And(_) | BinOp::Or(_) => {
                let (id, _) = &ids[0];
                let right_when = matches!(op, BinOp::And(_));
                syn::parse_quote! {
                    (match #left { l => if (l == #right_when) != crate::mutant::on(#id) { #right } else { l } })
                }
            }
            BinOp::Eq(_)
            | BinOp::Ne(_)
            | BinOp::Lt(_)
            | BinOp::Le(_)
            | BinOp::Gt(_)
            | BinOp::Ge(_) => {
                let arms = arms(quote!(l), quote!(r));
                syn::parse_quote! { (match (&(#left), &(#right)) { (l, r) => #arms }) }
            }
            BinOp::AddAssign(_)
            | BinOp::SubAssign(_)
            | BinOp::MulAssign(_)
            | BinOp::DivAssign(_) => {
                let arms = arms(place, quote!(r));
                syn::parse_quote! { (match #right { r => #arms }) }
            }
            _ => {
                let arms = arms(quote!(l), quote!(r));
                syn::parse_quote! { (match (#left, #right) { (l, r) => #arms }) }
            }
        }
    }

    fn unary(&mut self, of: &ExprUnary) -> Expr {
        let inner = &of.expr;
        let op = &of.op;
        let line = syn::spanned::Spanned::span(op).start().line;
        match self.add(line, format!("{} left out", quote!(#op))) {
            Some(id) => syn::parse_quote! {
                (if crate::mutant::on(#id) { #inner } else { #op #inner })
            },
            None => Expr::Unary(of.clone()),
        }
    }

    fn body(&mut self, signature: &Signature, block: &mut Block) {
        let ReturnType::Type(_, kind) = &signature.output else {
            return;
        };
        if matches!(**kind, syn::Type::ImplTrait(_) | syn::Type::Reference(_)) {
            return;
        }
        let line = signature.ident.span().start().line;
        let what = format!("{} gives its type's default", signature.ident);
        if let Some(id) = self.add(line, what) {
            let first: syn::Stmt = syn::parse_quote! {
                if crate::mutant::on(#id) { return Default::default(); }
            };
            block.stmts.insert(0, first);
        }
    }
}

impl VisitMut for Changer<'_> {
    fn visit_item_mut(&mut self, item: &mut Item) {
        match item {
            Item::Const(_) | Item::Static(_) | Item::Enum(_) | Item::Macro(_) => {}
            Item::Mod(of) if is_test(&of.attrs) => {}
            Item::Fn(of) if is_test(&of.attrs) || of.sig.constness.is_some() => {}
            Item::Fn(of) => {
                visit_mut::visit_block_mut(self, &mut of.block);
                self.body(&of.sig, &mut of.block);
            }
            _ => visit_mut::visit_item_mut(self, item),
        }
    }

    fn visit_impl_item_mut(&mut self, item: &mut syn::ImplItem) {
        match item {
            syn::ImplItem::Fn(of) if of.sig.constness.is_none() => {
                visit_mut::visit_block_mut(self, &mut of.block);
                self.body(&of.sig, &mut of.block);
            }
            _ => {}
        }
    }

    fn visit_expr_mut(&mut self, expr: &mut Expr) {
        match expr {
            Expr::Repeat(of) => return self.visit_expr_mut(&mut of.expr),
            _ => visit_mut::visit_expr_mut(self, expr),
        }
        match expr {
            Expr::Binary(of) if !holds_let(&of.left) && !holds_let(&of.right) => {
                *expr = self.binary(&of.clone());
            }
            // A literal's sign stays: it is part of a number.
            Expr::Unary(of)
                if matches!(of.op, UnOp::Neg(_) | UnOp::Not(_))
                    && !matches!(*of.expr, Expr::Lit(_)) =>
            {
                *expr = self.unary(&of.clone());
            }
            _ => {}
        }
    }

    fn visit_pat_mut(&mut self, _: &mut syn::Pat) {}

    fn visit_type_mut(&mut self, _: &mut syn::Type) {}
}
