//! Single things of a made-up site.

use kernel::{
    Count, Currency, Density, Mass, Money, Percent, Quantity, UnitPrice, Volume,
    ids::{FormulaId, FormulaVersionId, MaterialId, PackId, QuotationId},
};

use super::Site;
use crate::{
    formulas::{
        AmountBasis, Approval, Formula, FormulaLine, FormulaVersion, LineAmount, MeasuredDensity,
        VersionStatus, WrittenAs,
    },
    making::{FillingRun, Making},
    materials::{Material, MaterialKind},
    packs::{ComponentPer, Pack, PackComponent},
    quotations::{Freight, FreightPer, Offer, Quotation, Terms},
};

impl Site {
    fn material(&mut self, code: String, kind: MaterialKind) -> MaterialId {
        let id = MaterialId::from_number(self.draw.id());
        let name = self.name();
        self.parts.materials.push(Material {
            id,
            code,
            name,
            kind,
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
        });
        id
    }

    /// A material and its quotation: a large pack, and a small one that costs half as much again.
    pub(super) fn bought(&mut self, code: String, kind: MaterialKind, pence: i64) -> MaterialId {
        let is_component = kind == MaterialKind::PackagingComponent;
        let of = |units: i64| {
            if is_component {
                Quantity::Count(Count::from_thousandths(units * 1_000))
            } else {
                Quantity::Mass(Mass::from_micrograms(units * 1_000_000_000))
            }
        };
        let currency = match self.draw.below(12) {
            0 => Currency::EUR,
            1 => Currency::USD,
            _ => Currency::GBP,
        };
        let price = |hundredths: i64| UnitPrice::from_scaled(hundredths * 1_000_000, currency);
        let offer = |pack: i64, pence: i64| Offer {
            pack: of(pack),
            price: price(pence),
            price_per: of(1),
            from_quantity: None,
        };
        let offers = if is_component {
            vec![offer(1_000, pence)]
        } else {
            vec![offer(5, pence + pence / 2), offer(25, pence)]
        };
        let freight = (!is_component && self.draw.below(12) == 0)
            .then(|| Freight { amount: price(4_500), per: FreightPer::Order });
        let suppliers = u32::try_from(self.suppliers.len()).unwrap_or(u32::MAX);
        let supplier = self.draw.below(suppliers) as usize;
        let id = self.material(code.clone(), kind);
        let Some(supplier) = self.suppliers.get(supplier).copied() else { return id };
        let quotation = QuotationId::from_number(self.draw.id());
        self.parts.quotations.push(Quotation {
            id: quotation,
            reference: format!("Q-{code}"),
            supplier,
            material: id,
            currency,
            valid_from: self.since,
            valid_until: None,
            lead_time: None,
            minimum_order: None,
            freight,
            terms: Terms::default(),
            offers,
            note: None,
        });
        id
    }

    /// A formula that takes the rest of the first raw material; one of its lines is of `held`, where there are any.
    pub(super) fn formula(
        &mut self,
        code: &str,
        kind: MaterialKind,
        held: &[MaterialId],
    ) -> (FormulaId, MaterialId) {
        let makes = self.material(code.to_owned(), kind);
        let formula = FormulaId::from_number(self.draw.id());
        let mut said: Vec<(MaterialId, LineAmount)> = Vec::with_capacity(self.size.lines as usize);
        said.extend(self.raw.first().map(|water| (*water, LineAmount::QuantitySufficient)));
        let among = u32::try_from(held.len()).unwrap_or(u32::MAX);
        let intermediate = self.draw.below(among) as usize;
        if let Some(intermediate) = held.get(intermediate) {
            said.push((*intermediate, LineAmount::Percent(Self::percent(1_000 + 250 * self.draw.below(40)))));
        }
        let raw = u32::try_from(self.raw.len()).unwrap_or(u32::MAX);
        // Seventy percent at most, whatever the number of lines.
        let most = 70_000 / self.size.lines;
        for _ in said.len()..self.size.lines as usize {
            let at = 1 + self.draw.low_below(raw.saturating_sub(1)) as usize;
            let dose = Self::percent(10 + self.draw.low_below(most) / 10 * 10);
            said.extend(self.raw.get(at).map(|material| (*material, LineAmount::Percent(dose))));
        }
        let lines = said.into_iter().zip(1..).map(|((material, amount), position)| FormulaLine {
            position,
            phase: Some(if position % 2 == 0 { "B" } else { "A" }.to_owned()),
            material,
            amount,
            basis: AmountBasis::AsSupplied,
            function: None,
            use_level_from: None,
            use_level_to: None,
            weighing_tolerance: None,
            instruction: None,
            trim: None,
        });
        let lines = lines.collect();
        let batch = 50 * (1 + i64::from(self.draw.below(20)));
        let version = FormulaVersion {
            id: FormulaVersionId::from_number(self.draw.id()),
            formula,
            number: 1,
            status: VersionStatus::Approved,
            written_as: WrittenAs::Percent,
            lines,
            density: Some(MeasuredDensity {
                density: Density::from_nano(950_000_000 + 10_000_000 * i64::from(self.draw.below(12))),
                measured_on: Some(self.since),
                celsius: None,
            }),
            process_loss: Self::percent(500 * self.draw.below(5)),
            heel: Mass::from_micrograms(500_000_000 * i64::from(self.draw.below(4))),
            usual_batch: Mass::from_micrograms(batch * 1_000_000_000),
            smallest_batch: None,
            largest_batch: None,
            cost_per_batch: Some(Money::from_micros(
                5_000_000 * (4 + i64::from(self.draw.below(30))),
                Currency::GBP,
            )),
            making: Making::default(),
            shelf_life: None,
            approval: Some(Approval { by: "made up".to_owned(), on: self.since }),
            note: None,
        };
        let name = self.name();
        self.parts.formulas.push(Formula {
            id: formula,
            code: code.to_owned(),
            name,
            makes,
            versions: vec![version],
        });
        (formula, makes)
    }

    /// A pack of half a litre, with its yearly volume.
    pub(super) fn pack(&mut self, code: &str, formula: FormulaId, components: &[MaterialId]) {
        let product = self.material(format!("{code}-FP"), MaterialKind::FinishedProduct);
        let per =
            |at: usize| if at + 1 == components.len() { ComponentPer::Case } else { ComponentPer::Unit };
        let components = components.iter().enumerate().map(|(at, material)| PackComponent {
            material: *material,
            quantity: Count::from_thousandths(1_000),
            per: per(at),
            loss: Self::percent(2_000),
        });
        let components = components.collect();
        let name = self.name();
        self.parts.packs.push(Pack {
            id: PackId::from_number(self.draw.id()),
            code: format!("{code}-500"),
            name,
            formula,
            product,
            fill: Quantity::Volume(Volume::from_nanolitres(500_000_000)),
            overfill: Percent::from_nano(1_000_000_000),
            filling_loss: Percent::from_nano(500_000_000),
            components,
            units_per_case: Some(12),
            line_labour: Some(Money::from_micros(80_000, Currency::GBP)),
            run: FillingRun::default(),
            price: Some(Money::from_micros(
                2_000_000 + 10_000 * i64::from(self.draw.below(600)),
                Currency::GBP,
            )),
            units_a_year: Some(500 * (1 + u64::from(self.draw.below(200)))),
            note: None,
        });
    }
}
