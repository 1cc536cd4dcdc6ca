//! Working out what a set changes, before anything is written.

mod formulas;
mod making;

use std::collections::HashMap;

use chrono::NaiveDate;
use domain::{
    Catalogue,
    formulas::{Formula, FormulaVersion},
    house_rates::HouseRate,
    lots::Lot,
    materials::{Material, MaterialKind},
    packs::{Pack, PackComponent},
    quotations::{ExchangeRate, Offer, Quotation},
    suppliers::Supplier,
    text::code_key,
};
use kernel::{
    Money, Quantity, UnitPrice,
    ids::{FormulaId, LotId, MaterialId, PackId, QuotationId, RateId, SupplierId},
};

use super::{
    ImportOptions, ImportReport, Tally,
    drafts::{ImportSet, LotCost, LotDraft, MaterialDraft, PackDraft, QuotationDraft},
    resolve::Codes,
    terms::{freight_of, terms_of},
};
use crate::{Error, lots::stocked_quantity, unusual::unusual_price};

/// A thing that is new, or known and now different.
pub(super) enum Put<T> {
    /// New.
    New(T),
    /// Known; this is what it becomes.
    Changed(T),
}

/// Everything a set changes.
#[derive(Default)]
pub(super) struct Plan {
    pub materials: Vec<Put<Material>>,
    pub suppliers: Vec<Put<Supplier>>,
    pub quotations: Vec<Quotation>,
    pub rates: Vec<ExchangeRate>,
    pub house_rates: Vec<HouseRate>,
    /// Formulas without their versions.
    pub formulas: Vec<Put<Formula>>,
    pub versions: Vec<VersionPut>,
    pub packs: Vec<Put<Pack>>,
    pub lots: Vec<Lot>,
    pub report: ImportReport,
}

/// What happens to a formula version.
pub(super) enum VersionPut {
    /// New.
    New(FormulaVersion),
    /// A draft written anew, and then perhaps approved.
    Draft(FormulaVersion),
    /// Approved before, and now retired.
    Retired(FormulaVersion),
}

/// The whole plan, or every problem of the set.
pub(super) fn plan(
    catalogue: &Catalogue,
    set: &ImportSet,
    known_lots: Vec<Lot>,
    today: NaiveDate,
    options: ImportOptions,
) -> Result<Plan, Error> {
    let mut planner = Planner {
        catalogue,
        codes: Codes::new(catalogue, set),
        plan: Plan::default(),
        makers: HashMap::new(),
        options,
    };
    for draft in &set.materials {
        planner.material(draft);
    }
    for draft in &set.suppliers {
        planner.supplier(draft);
    }
    // Rows further down need the materials and suppliers of the set as well as the known ones.
    let materials = planner.materials_after();
    let suppliers = planner.suppliers_after();
    for draft in &set.quotations {
        planner.quotation(draft, &materials, &suppliers);
    }
    planner.rates(set);
    planner.house_rates(set);
    for draft in &set.formulas {
        planner.formula(draft, &materials);
    }
    for draft in &set.packs {
        planner.pack(draft, &materials);
    }
    let known: HashMap<String, Lot> =
        known_lots.into_iter().map(|lot| (code_key(&lot.number), lot)).collect();
    for draft in &set.lots {
        planner.lot(draft, &materials, &known, today);
    }
    planner.whole_formulas(set, today);
    if planner.codes.problems.is_empty() {
        Ok(planner.plan)
    } else {
        Err(Error::Invalid(planner.codes.problems))
    }
}

struct Planner<'a> {
    catalogue: &'a Catalogue,
    codes: Codes<'a>,
    plan: Plan,
    /// Which formula makes a material, as known or as first said in the set.
    makers: HashMap<MaterialId, (FormulaId, String)>,
    options: ImportOptions,
}

/// Counts a thing as new, changed or the same, and says which of the first two it is.
fn put<T: PartialEq>(tally: &mut Tally, known: Option<&T>, wanted: T) -> Option<Put<T>> {
    match known {
        None => {
            tally.created += 1;
            Some(Put::New(wanted))
        }
        Some(known) if *known == wanted => {
            tally.unchanged += 1;
            None
        }
        Some(_) => {
            tally.updated += 1;
            Some(Put::Changed(wanted))
        }
    }
}

impl<T> Put<T> {
    fn get(&self) -> &T {
        match self {
            Self::New(thing) | Self::Changed(thing) => thing,
        }
    }
}

impl Planner<'_> {
    fn material(&mut self, draft: &MaterialDraft) {
        let Some(id) = self.codes.material(&draft.place, "code", &draft.code) else { return };
        let known = self.catalogue.materials.get(id);
        if let Some(known) = known
            && known.kind != draft.kind
        {
            let message = format!(
                "{} is a {} here; the kind of a material cannot change",
                known.code,
                known.kind.words()
            );
            self.codes.problem(&draft.place, "kind", message);
            return;
        }
        let wanted = Material {
            id,
            code: known.map_or_else(|| draft.code.clone(), |m| m.code.clone()),
            name: draft.name.clone(),
            kind: draft.kind,
            inci: draft.inci.clone(),
            cas: draft.cas.clone(),
            density: draft.density,
            active_matter: draft.active_matter,
            use_level: draft.use_level,
            shelf_life: draft.shelf_life,
            period_after_opening: draft.period_after_opening,
            minimum_remaining_life: draft.minimum_remaining_life,
            inspection_time: draft.inspection_time,
            signal_word: draft.signal_word,
            hazard_statements: draft.hazard_statements.clone(),
            caution_groups: draft.caution_groups.clone(),
            incompatible_with: draft.incompatible_with.clone(),
            flash_point_celsius: draft.flash_point_celsius,
            safety_data_sheet: draft.safety_data_sheet.clone(),
            note: draft.note.clone(),
        };
        let put = put(&mut self.plan.report.materials, known.map(|m| &**m), wanted);
        self.plan.materials.extend(put);
    }

    fn supplier(&mut self, draft: &super::drafts::SupplierDraft) {
        let Some(id) = self.codes.supplier(&draft.place, "code", &draft.code) else { return };
        let known = self.catalogue.suppliers.get(id);
        let wanted = Supplier {
            id,
            code: known.map_or_else(|| draft.code.clone(), |s| s.code.clone()),
            name: draft.name.clone(),
            country: draft.country.clone(),
            currency: draft.currency,
            lead_time: draft.lead_time,
            note: draft.note.clone(),
        };
        let put = put(&mut self.plan.report.suppliers, known.map(|s| &**s), wanted);
        self.plan.suppliers.extend(put);
    }

    /// Materials as they will be, by identity.
    fn materials_after(&self) -> HashMap<MaterialId, Material> {
        let known = self.catalogue.materials.iter().map(|m| (m.id, (**m).clone()));
        let put = self.plan.materials.iter().map(|m| (m.get().id, m.get().clone()));
        known.chain(put).collect()
    }

    fn suppliers_after(&self) -> HashMap<SupplierId, Supplier> {
        let known = self.catalogue.suppliers.iter().map(|s| (s.id, (**s).clone()));
        let put = self.plan.suppliers.iter().map(|s| (s.get().id, s.get().clone()));
        known.chain(put).collect()
    }

    fn quotation(
        &mut self,
        draft: &QuotationDraft,
        materials: &HashMap<MaterialId, Material>,
        suppliers: &HashMap<SupplierId, Supplier>,
    ) {
        let supplier = self.codes.supplier(&draft.place, "supplier", &draft.supplier);
        let material = self.codes.material(&draft.place, "material", &draft.material);
        let (Some(supplier), Some(material)) =
            (supplier.and_then(|id| suppliers.get(&id)), material.and_then(|id| materials.get(&id)))
        else {
            return;
        };
        if matches!(material.kind, MaterialKind::FinishedProduct | MaterialKind::Bulk) {
            let message = format!("{} is made here; it has no quotations", material.code);
            self.codes.problem(&draft.place, "material", message);
            return;
        }
        let currency = draft.currency.unwrap_or(supplier.currency);
        let mut offers = Vec::with_capacity(draft.offers.len());
        for offer in &draft.offers {
            match UnitPrice::from_decimal(offer.price, currency) {
                Ok(price) => offers.push(Offer {
                    pack: offer.pack,
                    price,
                    price_per: offer.price_per,
                    from_quantity: offer.from_quantity,
                }),
                Err(error) => self.codes.problem(&offer.place, "price", error),
            }
        }
        let freight =
            draft.freight.as_ref().and_then(|freight| freight_of(&mut self.codes, draft, freight, currency));
        let terms = terms_of(&mut self.codes, draft, currency);
        let known = self
            .catalogue
            .quotations_of(material.id)
            .iter()
            .find(|q| q.supplier == supplier.id && code_key(&q.reference) == code_key(&draft.reference));
        let wanted = Quotation {
            id: known.map_or_else(QuotationId::new, |q| q.id),
            reference: known.map_or_else(|| draft.reference.clone(), |q| q.reference.clone()),
            supplier: supplier.id,
            material: material.id,
            currency,
            valid_from: draft.valid_from,
            valid_until: draft.valid_until,
            lead_time: draft.lead_time,
            minimum_order: draft.minimum_order,
            freight,
            terms,
            offers,
            note: draft.note.clone(),
        };
        match put(&mut self.plan.report.quotations, known.map(|q| &**q), wanted) {
            None => {}
            Some(Put::New(quotation)) => {
                if !self.options.unusual_prices
                    && let Some(message) =
                        unusual_price(self.catalogue, self.plan.quotations.iter(), &quotation)
                {
                    self.codes.problem(&draft.place, "price", message);
                }
                self.plan.quotations.push(quotation);
            }
            Some(Put::Changed(_)) => self.codes.problem(
                &draft.place,
                "quotation",
                format!(
                    "quotation {} stands here already with other figures; a quotation is kept as it was given, so record a new price under a new reference",
                    draft.reference
                ),
            ),
        }
    }

    fn rates(&mut self, set: &ImportSet) {
        let known: HashMap<_, &ExchangeRate> =
            self.catalogue.rates().map(|rate| ((rate.from, rate.to, rate.date), rate)).collect();
        for draft in &set.rates {
            let known = known.get(&(draft.from, draft.to, draft.date)).copied();
            let wanted = ExchangeRate {
                id: known.map_or_else(RateId::new, |r| r.id),
                from: draft.from,
                to: draft.to,
                rate: draft.rate,
                date: draft.date,
                source: draft.source.clone(),
            };
            match put(&mut self.plan.report.rates, known, wanted) {
                None => {}
                Some(Put::New(rate)) => self.plan.rates.push(rate),
                Some(Put::Changed(_)) => self.codes.problem(
                    &draft.place,
                    "rate",
                    format!("another rate of {} to {} stands here for {}", draft.from, draft.to, draft.date),
                ),
            }
        }
    }

    fn pack(&mut self, draft: &PackDraft, materials: &HashMap<MaterialId, Material>) {
        let Some(formula) = self.codes.formula(&draft.place, "formula", &draft.formula) else { return };
        let known = self.catalogue.packs.by_code(&draft.code).cloned();
        let mut components = Vec::new();
        for component in draft.components.iter().flatten() {
            let Some(material) = self
                .codes
                .material(&component.place, "component", &component.material)
                .and_then(|id| materials.get(&id))
            else {
                continue;
            };
            if material.kind != MaterialKind::PackagingComponent {
                let message =
                    format!("{} is a {}, not a packaging component", material.code, material.kind.words());
                self.codes.problem(&component.place, "component", message);
                continue;
            }
            components.push(PackComponent {
                material: material.id,
                quantity: component.quantity,
                per: component.per,
                loss: component.loss,
            });
        }
        if draft.components.is_none()
            && let Some(known) = &known
        {
            components.clone_from(&known.components);
        }
        let product = match &known {
            Some(pack) => pack.product,
            None => {
                if self.codes.knows_material(&draft.code) {
                    let message = format!(
                        "a material has the code {} already; a pack brings its own finished product",
                        draft.code
                    );
                    self.codes.problem(&draft.place, "pack", message);
                    return;
                }
                MaterialId::new()
            }
        };
        self.product(draft, product);
        for rate in draft.run.rates() {
            self.codes.hourly_rate(&draft.place, "labour rate, machine rate", rate);
        }
        let wanted = Pack {
            id: known.as_ref().map_or_else(PackId::new, |p| p.id),
            code: known.as_ref().map_or_else(|| draft.code.clone(), |p| p.code.clone()),
            name: draft.name.clone(),
            formula,
            product,
            fill: draft.fill,
            overfill: draft.overfill,
            filling_loss: draft.filling_loss,
            components,
            units_per_case: draft.units_per_case,
            line_labour: draft.line_labour,
            run: draft.run.clone(),
            price: draft.price,
            units_a_year: draft.units_a_year,
            note: draft.note.clone(),
        };
        let put = put(&mut self.plan.report.packs, known.as_deref(), wanted);
        self.plan.packs.extend(put);
    }

    /// The finished product a pack's filled units are stocked as; it takes its name from the pack.
    fn product(&mut self, draft: &PackDraft, id: MaterialId) {
        let known = self.catalogue.materials.get(id);
        if known.is_some_and(|m| m.name == draft.name) {
            return;
        }
        let product = match known {
            Some(known) => Material { name: draft.name.clone(), ..(**known).clone() },
            None => Material {
                id,
                code: draft.code.clone(),
                name: draft.name.clone(),
                kind: MaterialKind::FinishedProduct,
                inci: None,
                cas: Vec::new(),
                density: None,
                active_matter: None,
                use_level: None,
                shelf_life: None,
                period_after_opening: None,
                minimum_remaining_life: None,
                inspection_time: None,
                signal_word: None,
                hazard_statements: Vec::new(),
                caution_groups: Vec::new(),
                incompatible_with: Vec::new(),
                flash_point_celsius: None,
                safety_data_sheet: None,
                note: None,
            },
        };
        let put = if known.is_some() { Put::Changed(product) } else { Put::New(product) };
        self.plan.materials.push(put);
    }

    fn lot(
        &mut self,
        draft: &LotDraft,
        materials: &HashMap<MaterialId, Material>,
        known: &HashMap<String, Lot>,
        today: NaiveDate,
    ) {
        let material =
            self.codes.material(&draft.place, "material", &draft.material).and_then(|id| materials.get(&id));
        let supplier = match &draft.supplier {
            None => None,
            Some(code) => self.codes.supplier(&draft.place, "supplier", code),
        };
        let Some(material) = material else { return };
        if !material.kind.is_stocked() {
            let message = format!("{} is a utility and is not stocked", material.code);
            self.codes.problem(&draft.place, "material", message);
            return;
        }
        if draft.received_on > today {
            let message = format!("{} is after today, {today}", draft.received_on);
            self.codes.problem(&draft.place, "received", message);
        }
        let received = match stocked_quantity(draft.quantity, material, draft.density) {
            Ok(quantity) => quantity,
            Err(message) => return self.codes.problem(&draft.place, "quantity", message),
        };
        let value = match draft.cost {
            None => None,
            Some(LotCost::Value(value)) => Some(value),
            Some(LotCost::UnitCost(unit)) => {
                let value =
                    Money::from_exact_half_even(&(unit.to_exact() * received.to_exact()), unit.currency());
                match value {
                    Ok(value) => Some(value),
                    Err(error) => return self.codes.problem(&draft.place, "unit cost", error),
                }
            }
        };
        let expires_on = draft
            .expires_on
            .or_else(|| draft.made_on.zip(material.shelf_life).and_then(|(made, life)| life.after(made)));
        if let Some(before) = known.get(&code_key(&draft.number)) {
            let same = before.material == material.id
                && before.received == received
                && before.received_value == value
                && before.supplier == supplier
                && before.supplier_lot == draft.supplier_lot
                && before.received_on == draft.received_on
                && before.made_on == draft.made_on
                && before.expires_on == expires_on
                && before.retest_on == draft.retest_on
                && before.density == draft.density
                && before.active_matter == draft.active_matter;
            if same {
                self.plan.report.lots.unchanged += 1;
            } else {
                self.codes.problem(
                    &draft.place,
                    "lot",
                    format!(
                        "lot {} was received here with other figures; put a receipt right by reversing it or by counting the lot",
                        draft.number
                    ),
                );
            }
            return;
        }
        self.plan.report.lots.created += 1;
        self.plan.lots.push(Lot {
            id: LotId::new(),
            number: draft.number.clone(),
            material: material.id,
            supplier,
            supplier_lot: draft.supplier_lot.clone(),
            made_by: None,
            status: draft.status,
            received_on: draft.received_on,
            made_on: draft.made_on,
            expires_on,
            retest_on: draft.retest_on,
            opened_on: draft.opened_on,
            density: draft.density,
            active_matter: draft.active_matter,
            location: draft.location.clone(),
            received,
            received_value: value,
            on_hand: Quantity::from_raw(0, received.dimension()),
            value: value.map(|v| Money::zero(v.currency())),
            reserved: Quantity::from_raw(0, received.dimension()),
            note: draft.note.clone(),
            terms: domain::lots::LotTerms::default(),
        });
    }
}
