//! What the sheets have given so far, and how it becomes one set once all of them are read.

use app::import::{
    ComponentDraft, HouseRateDraft, ImportSet, LotDraft, MaterialDraft, PackDraft, Place, RateDraft,
    SupplierDraft, Unread,
};
use domain::text::code_key;
use std::collections::{HashMap, HashSet, hash_map::Entry};

use crate::{
    kinds::SheetKind,
    problems::Problems,
    row::Row,
    sheets::{
        exchange_rates, formulas,
        formulas::{LineRow, VersionRow},
        house_rates, lots, making_costs,
        making_costs::CostRow,
        materials, packs, quotations,
        quotations::QuotationRow,
        suppliers,
    },
};

/// Keys and where they stood first.
#[derive(Debug, Default)]
pub(crate) struct Seen(HashMap<String, Place>);

impl Seen {
    /// Remembers a key. When it is there already: where, in words that make sense at `place`.
    pub fn again(&mut self, key: String, place: &Place) -> Option<String> {
        match self.0.entry(key) {
            Entry::Occupied(first) => Some(seen_from(first.get(), place)),
            Entry::Vacant(free) => {
                free.insert(place.clone());
                None
            }
        }
    }
}

/// A place as it is named from another: the row alone when the file is the same.
pub(crate) fn seen_from(place: &Place, from: &Place) -> String {
    if place.file == from.file { format!("row {}", place.row) } else { place.to_string() }
}

/// What has been read.
#[derive(Debug, Default)]
pub(crate) struct Collected {
    pub materials: Vec<MaterialDraft>,
    pub suppliers: Vec<SupplierDraft>,
    pub quotations: Vec<QuotationRow>,
    pub rates: Vec<RateDraft>,
    pub versions: Vec<VersionRow>,
    pub lines: Vec<LineRow>,
    pub costs: Vec<CostRow>,
    pub house_rates: Vec<HouseRateDraft>,
    pub packs: Vec<PackDraft>,
    pub components: Vec<(String, ComponentDraft)>,
    pub lots: Vec<LotDraft>,
    pub unread: Unread,
    /// Versions of which a row could not be read, so that nothing is said about their sums.
    pub broken_versions: HashSet<(String, u32)>,
    /// A row of formulas or lines could not be read and it is not known whose it was.
    pub stray_row: bool,
    /// Whether a sheet of pack components was there, empty or not.
    pub has_components_sheet: bool,
    /// Whether a sheet of making costs was there, empty or not.
    pub has_costs_sheet: bool,
    seen: HashMap<SheetKind, Seen>,
}

impl Collected {
    /// Begins a sheet.
    pub fn begin(&mut self, kind: SheetKind) {
        self.has_components_sheet |= kind == SheetKind::PackComponents;
        self.has_costs_sheet |= kind == SheetKind::MakingCosts;
    }

    /// Remembers a row that could not be split into its cells, under the code it seems to begin with.
    pub fn lost(&mut self, kind: SheetKind, code: Option<&str>) {
        let codes = match kind {
            SheetKind::Materials => &mut self.unread.materials,
            SheetKind::Suppliers => &mut self.unread.suppliers,
            SheetKind::Packs => &mut self.unread.packs,
            SheetKind::HouseRates => &mut self.unread.house_rates,
            SheetKind::Formulas => &mut self.unread.formulas,
            _ => {
                self.stray_row |= kind == SheetKind::FormulaLines;
                return;
            }
        };
        codes.extend(code.map(code_key));
        self.stray_row |= kind == SheetKind::Formulas;
    }

    /// Reads one row of a sheet.
    pub fn row(&mut self, kind: SheetKind, row: &mut Row<'_>) {
        match kind {
            SheetKind::Materials => materials::read(row, self),
            SheetKind::Suppliers => suppliers::read(row, self),
            SheetKind::Quotations => quotations::read(row, self),
            SheetKind::ExchangeRates => exchange_rates::read(row, self),
            SheetKind::HouseRates => house_rates::read(row, self),
            SheetKind::Formulas => formulas::read_version(row, self),
            SheetKind::FormulaLines => formulas::read_line(row, self),
            SheetKind::MakingCosts => making_costs::read(row, self),
            SheetKind::Packs => packs::read_pack(row, self),
            SheetKind::PackComponents => packs::read_component(row, self),
            SheetKind::Lots => lots::read(row, self),
        }
    }

    /// Reports a key that stands in an earlier row of the same kind of sheet.
    pub fn once(&mut self, kind: SheetKind, row: &mut Row<'_>, column: &str, key: String, what: &str) {
        if let Some(first) = self.seen.entry(kind).or_default().again(key, &row.place) {
            row.fault(column, format!("{what} stands in {first} already"));
        }
    }

    /// One set of everything, with what rows say about each other checked.
    pub fn finish(self, problems: &mut Problems) -> ImportSet {
        let suppliers = self.suppliers;
        let quotations = quotations::assemble(self.quotations, problems);
        let broken = formulas::Broken { versions: self.broken_versions, stray_row: self.stray_row };
        let mut formulas = formulas::assemble(self.versions, self.lines, &broken, problems);
        if self.has_costs_sheet {
            making_costs::assemble(&mut formulas, self.costs, &broken, problems);
        }
        let components = self.has_components_sheet.then_some(self.components);
        let packs = packs::assemble(self.packs, components, &self.unread, problems);
        ImportSet {
            materials: self.materials,
            suppliers,
            quotations,
            rates: self.rates,
            house_rates: self.house_rates,
            formulas,
            packs,
            lots: self.lots,
            unread: self.unread,
        }
    }
}
