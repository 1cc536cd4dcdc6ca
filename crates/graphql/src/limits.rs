//! What a request may cost. The complexity of a field is about the number of fields it answers; questions that calculate count for
//! as many fields as they take time.

use async_graphql::{
    ServerError,
    parser::types::{ExecutableDocument, Selection, SelectionSet},
};
use kernel::limits::PAGE_ROWS_MAX;
use std::collections::HashMap;

use crate::errors::limit_exceeded;

/// Levels of fields within fields. The usual introspection query needs 15.
pub const DEPTH_MAX: usize = 16;
/// Fields a request may answer, lists counted at their length. The largest page of formulas with lines, materials, best prices and
/// stock on hand stays well below.
pub const COMPLEXITY_MAX: usize = 50_000;
/// Directives on one field.
pub const DIRECTIVES_MAX: usize = 8;
/// Fields written in one document, its fragments spelt out.
pub const SELECTIONS_MAX: usize = 2_000;
/// Aliases in one document, its fragments spelt out.
pub const ALIASES_MAX: usize = 100;
/// Levels of selection sets the parser follows.
pub(crate) const RECURSION_MAX: usize = 32;
/// Rows of a page when no size is asked for.
pub const PAGE_ROWS_DEFAULT: usize = 20;

/// Rows assumed for a list that has no page size: lines of a formula, components of a pack.
const LIST_ROWS: usize = 12;
/// What a question over the whole catalogue or shelf counts for.
const QUESTION: usize = 500;
/// What a cost sheet, or a best price, counts for besides its fields.
const CALCULATION: usize = 20;

/// The cost of a page. Whatever a client writes, the figure is clamped before it is multiplied.
pub(crate) fn page(first: Option<i32>, last: Option<i32>, child: usize) -> usize {
    let asked = first.or(last).map_or(PAGE_ROWS_DEFAULT, |rows| usize::try_from(rows).unwrap_or(1));
    asked.clamp(1, PAGE_ROWS_MAX).saturating_mul(child).saturating_add(1)
}

/// The cost of a list without pages.
pub(crate) fn list(child: usize) -> usize {
    LIST_ROWS.saturating_mul(child).saturating_add(1)
}

/// The cost of the objects of a list of global ids.
pub(crate) fn nodes(count: usize, child: usize) -> usize {
    count.clamp(1, PAGE_ROWS_MAX).saturating_mul(child).saturating_add(1)
}

/// The cost of something worked out from the catalogue.
pub(crate) fn calculation(child: usize) -> usize {
    child.saturating_add(CALCULATION)
}

/// The cost of something that takes so many cost sheets.
pub(crate) fn calculations(count: usize, child: usize) -> usize {
    child.saturating_add(CALCULATION.saturating_mul(count))
}

/// The cost of a sweep of so many points: each is a cost sheet, and answers the fields of a point.
pub(crate) fn sweep(points: usize, child: usize) -> usize {
    points.saturating_mul(CALCULATION).saturating_add(child.saturating_mul(points.div_ceil(LIST_ROWS).max(1)))
}

/// The cost of a curve over so many batches, and of a search for one.
pub(crate) fn curve(batches: Option<usize>, search: bool, child: usize) -> usize {
    sweep(batches.unwrap_or(LIST_ROWS), child).saturating_add(if search { QUESTION } else { 0 })
}

/// The cost of a question over the whole catalogue or shelf.
pub(crate) fn question(child: usize) -> usize {
    child.saturating_add(QUESTION)
}

/// Refuses a document that is larger than any client needs once its fragments are spelt out, before anything walks through it
/// fragment by fragment: a few lines of fragments within fragments can stand for millions of fields, or for no end of them.
pub(crate) fn refuse_excess(document: &ExecutableDocument) -> Result<(), ServerError> {
    let mut walk = Walk { document, fragments: HashMap::new() };
    let mut whole = Size::default();
    for (_, operation) in document.operations.iter() {
        whole = whole.with(walk.set(&operation.node.selection_set.node, 1)?);
    }
    if whole.selections > SELECTIONS_MAX {
        return Err(limit_exceeded(format!(
            "The document selects {} fields with its fragments spelt out; at most {SELECTIONS_MAX} are answered.",
            whole.selections
        )));
    }
    if whole.aliases > ALIASES_MAX {
        return Err(limit_exceeded(format!(
            "The document has {} aliases with its fragments spelt out; at most {ALIASES_MAX} are answered.",
            whole.aliases
        )));
    }
    Ok(())
}

/// What a selection set amounts to with its fragments spelt out.
#[derive(Clone, Copy, Default)]
struct Size {
    selections: usize,
    aliases: usize,
}

impl Size {
    fn with(self, other: Self) -> Self {
        Self {
            selections: self.selections.saturating_add(other.selections),
            aliases: self.aliases.saturating_add(other.aliases),
        }
    }
}

struct Walk<'a> {
    document: &'a ExecutableDocument,
    /// Each fragment is walked through once; `None` while that is under way.
    fragments: HashMap<&'a str, Option<Size>>,
}

impl<'a> Walk<'a> {
    fn set(&mut self, set: &'a SelectionSet, level: usize) -> Result<Size, ServerError> {
        if level > RECURSION_MAX {
            return Err(limit_exceeded(format!("The document is nested more than {RECURSION_MAX} deep.")));
        }
        let mut size = Size::default();
        for selection in &set.items {
            let within = match &selection.node {
                Selection::Field(field) => {
                    let own = Size { selections: 1, aliases: usize::from(field.node.alias.is_some()) };
                    own.with(self.set(&field.node.selection_set.node, level + 1)?)
                }
                Selection::InlineFragment(fragment) => {
                    self.set(&fragment.node.selection_set.node, level + 1)?
                }
                Selection::FragmentSpread(spread) => {
                    self.fragment(spread.node.fragment_name.node.as_str(), level)?
                }
            };
            size = size.with(within);
        }
        Ok(size)
    }

    fn fragment(&mut self, name: &'a str, level: usize) -> Result<Size, ServerError> {
        match self.fragments.get(name) {
            Some(Some(size)) => return Ok(*size),
            Some(None) => return Err(limit_exceeded(format!("Fragment {name} contains itself."))),
            None => {}
        }
        // An unknown fragment is a mistake that validation names.
        let Some(fragment) = self.document.fragments.get(name) else { return Ok(Size::default()) };
        self.fragments.insert(name, None);
        let size = self.set(&fragment.node.selection_set.node, level + 1)?;
        self.fragments.insert(name, Some(size));
        Ok(size)
    }
}
