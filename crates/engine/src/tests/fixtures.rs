//! A small house for tests, built from short texts: materials by code, quotations, formulas line by line, packs.

use chrono::NaiveDate;
use domain::{
    Catalogue, Settings,
    catalogue::CatalogueParts,
    dates::parse_date,
    formulas::{
        AmountBasis, Approval, Formula, FormulaLine, FormulaVersion, LineAmount, MeasuredDensity, Trim,
        VersionStatus, WrittenAs,
    },
    house_rates::{HouseRate, HouseRateAmount, HouseRateOf},
    making::{FillingRun, Making},
    materials::{Material, MaterialKind},
    packs::{ComponentPer, Pack, PackComponent},
    quotations::{ExchangeRate, Offer, Quotation, Terms},
    suppliers::Supplier,
};
use kernel::{
    Count, Currency, DecimalMark, Density, Exact, Mass, Money, Parts, Percent, Quantity, Rate, Unit,
    UnitPrice,
    ids::{FormulaId, FormulaVersionId, HouseRateId, MaterialId, PackId, QuotationId, RateId, SupplierId},
    parse_decimal,
};
use rust_decimal::Decimal;

pub fn dec(text: &str) -> Decimal {
    parse_decimal(text, DecimalMark::Point).unwrap()
}

pub fn day(text: &str) -> NaiveDate {
    parse_date(text).unwrap()
}

pub fn kg(text: &str) -> Mass {
    Mass::from_kg(dec(text)).unwrap()
}

pub fn percent(text: &str) -> Percent {
    Percent::from_percent(dec(text)).unwrap()
}

pub fn density(text: &str) -> Density {
    Density::from_kg_per_litre(dec(text)).unwrap()
}

pub fn quantity(text: &str) -> Quantity {
    Quantity::parse(text, None, DecimalMark::Point).unwrap()
}

pub fn gbp(text: &str) -> Money {
    Money::from_decimal(dec(text), Currency::GBP).unwrap()
}

/// A price such as `1.62 GBP`.
pub fn price(text: &str) -> UnitPrice {
    let (figure, currency) = text.split_once(' ').unwrap_or((text, "GBP"));
    UnitPrice::from_decimal(dec(figure), currency.parse().unwrap()).unwrap()
}

/// An exact figure rounded for comparing.
pub fn shown(value: &Exact, places: u32) -> String {
    value.round_half_even(places).unwrap().to_string()
}

/// The day most tests ask about.
pub fn today() -> NaiveDate {
    day("2026-06-15")
}

pub struct House {
    pub parts: CatalogueParts,
    pub settings: Settings,
}

impl House {
    pub fn new() -> Self {
        let mut house = Self {
            parts: CatalogueParts::default(),
            settings: Settings { currency: Currency::GBP, lapses_soon_days: 14 },
        };
        house.supplier("S1");
        house
    }

    pub fn catalogue(&self) -> Catalogue {
        let parts = &self.parts;
        Catalogue::new(
            7,
            self.settings.clone(),
            CatalogueParts {
                materials: parts.materials.clone(),
                suppliers: parts.suppliers.clone(),
                quotations: parts.quotations.clone(),
                rates: parts.rates.clone(),
                house_rates: parts.house_rates.clone(),
                formulas: parts.formulas.clone(),
                packs: parts.packs.clone(),
            },
        )
    }

    pub fn supplier(&mut self, code: &str) -> SupplierId {
        if let Some(known) = self.parts.suppliers.iter().find(|s| s.code == code) {
            return known.id;
        }
        let id = SupplierId::new();
        self.parts.suppliers.push(Supplier {
            id,
            code: code.to_owned(),
            name: format!("Supplier {code}"),
            country: None,
            currency: Currency::GBP,
            lead_time: None,
            note: None,
        });
        id
    }

    pub fn material(&mut self, code: &str) -> &mut Material {
        let at = self.parts.materials.iter().position(|m| m.code == code).unwrap_or_else(|| {
            self.parts.materials.push(Material {
                id: MaterialId::new(),
                code: code.to_owned(),
                name: code.to_lowercase(),
                kind: MaterialKind::RawMaterial,
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
            self.parts.materials.len() - 1
        });
        &mut self.parts.materials[at]
    }

    pub fn component(&mut self, code: &str) -> &mut Material {
        let material = self.material(code);
        material.kind = MaterialKind::PackagingComponent;
        material
    }

    pub fn id(&self, code: &str) -> MaterialId {
        self.parts.materials.iter().find(|m| m.code == code).unwrap().id
    }

    /// A quotation of one offer, valid from 2026-01-01 until replaced: `quote("SLES", "25 kg", "1.62 GBP", "1 kg")`.
    pub fn quote(&mut self, code: &str, pack: &str, offered: &str, per: &str) -> &mut Quotation {
        let material = self.material(code).id;
        let supplier = self.supplier("S1");
        let offered = price(offered);
        let reference = format!("Q-{code}-{}", self.parts.quotations.len() + 1);
        self.parts.quotations.push(Quotation {
            id: QuotationId::new(),
            reference,
            supplier,
            material,
            currency: offered.currency(),
            valid_from: day("2026-01-01"),
            valid_until: None,
            lead_time: None,
            minimum_order: None,
            freight: None,
            terms: Terms::default(),
            offers: vec![offer(pack, offered, per, None)],
            note: None,
        });
        self.parts.quotations.last_mut().unwrap()
    }

    /// A raw material at a price per kg, in packs of a gram, so that no order is larger than what is needed.
    pub fn at_price(&mut self, code: &str, per_kg: &str) -> &mut Self {
        self.quote(code, "1 g", per_kg, "1 kg");
        self
    }

    /// A rate of the house from 2026-01-01: `1.5 GBP` per hour or batch, `40 %`, or `12000 GBP over 1000`.
    pub fn house_rate(&mut self, name: &str, of: HouseRateOf, amount: &str) -> &mut HouseRate {
        let amount = if let Some(figure) = amount.strip_suffix(" %") {
            HouseRateAmount::Percent(percent(figure))
        } else if let Some((cost, normal)) = amount.split_once(" over ") {
            let (figure, currency) = cost.split_once(' ').unwrap();
            HouseRateAmount::Budget {
                cost: Money::from_decimal(dec(figure), currency.parse().unwrap()).unwrap(),
                normal_capacity: dec(normal),
                capacity_used: None,
            }
        } else {
            HouseRateAmount::Stated(price(amount))
        };
        let rate = HouseRate {
            id: HouseRateId::new(),
            name: name.to_owned(),
            of,
            amount,
            from: day("2026-01-01"),
            note: None,
        };
        rate.require_sound().unwrap();
        self.parts.house_rates.push(rate);
        self.parts.house_rates.last_mut().unwrap()
    }

    pub fn rate(&mut self, from: &str, to: &str, rate: &str, date: &str) {
        self.parts.rates.push(ExchangeRate {
            id: RateId::new(),
            from: from.parse().unwrap(),
            to: to.parse().unwrap(),
            rate: Rate::new(dec(rate)).unwrap(),
            date: day(date),
            source: "the central bank".to_owned(),
        });
    }

    /// Version 1, approved, of a formula making the material of the same code. Each line is `CODE amount`, the amount being `q.s.`,
    /// `12 %`, `12 % active`, `5 % w/v`, `5 % v/v`, `5 parts`, `5 g` or `5 mL`, and of a trim line with its result behind it (`0 % to
    /// pH 5`); `written` is `percent`, `parts`, or the total as `1000 g` or `10 L`.
    pub fn formula(&mut self, code: &str, written: &str, lines: &[&str]) -> &mut FormulaVersion {
        let makes = self.material(code).id;
        let formula = FormulaId::new();
        let written_as = match written {
            "percent" => WrittenAs::Percent,
            "parts" => WrittenAs::Parts,
            total => match quantity(total) {
                Quantity::Mass(total) => WrittenAs::Grams { total },
                Quantity::Volume(total) => WrittenAs::Volume { total },
                Quantity::Count(_) => panic!("{total} is no total"),
            },
        };
        let lines = lines.iter().zip(1..).map(|(line, position)| self.line(line, position)).collect();
        self.parts.formulas.push(Formula {
            id: formula,
            code: code.to_owned(),
            name: code.to_lowercase(),
            makes,
            versions: vec![FormulaVersion {
                id: FormulaVersionId::new(),
                formula,
                number: 1,
                status: VersionStatus::Approved,
                written_as,
                lines,
                density: None,
                process_loss: Percent::ZERO,
                heel: Mass::ZERO,
                usual_batch: kg("100"),
                smallest_batch: None,
                largest_batch: None,
                cost_per_batch: None,
                making: Making::default(),
                shelf_life: None,
                approval: Some(Approval { by: "A. Tester".to_owned(), on: day("2026-01-01") }),
                note: None,
            }],
        });
        &mut self.parts.formulas.last_mut().unwrap().versions[0]
    }

    fn line(&mut self, text: &str, position: u32) -> FormulaLine {
        let (code, amount) = text.split_once(' ').unwrap();
        let material = self.material(code).id;
        let (amount, trim) = match amount.split_once(" to ") {
            Some((amount, result)) => {
                (amount, Some(Box::new(Trim { result: result.to_owned(), stop: None })))
            }
            None => (amount, None),
        };
        let (amount, basis) = match amount.strip_suffix(" active") {
            Some(amount) => (amount, AmountBasis::ActiveMatter),
            None => (amount, AmountBasis::AsSupplied),
        };
        let amount = if amount == "q.s." {
            LineAmount::QuantitySufficient
        } else if let Some(figure) = amount.strip_suffix(" % w/v") {
            LineAmount::PercentWeightInVolume(percent(figure))
        } else if let Some(figure) = amount.strip_suffix(" % v/v") {
            LineAmount::PercentVolumeInVolume(percent(figure))
        } else if let Some(figure) = amount.strip_suffix(" parts") {
            LineAmount::Parts(Parts::from_parts(dec(figure)).unwrap())
        } else if let Some(figure) = amount.strip_suffix(" %") {
            LineAmount::Percent(percent(figure))
        } else {
            match Quantity::parse(amount, Some(Unit::Gram), DecimalMark::Point).unwrap() {
                Quantity::Mass(mass) => LineAmount::Mass(mass),
                Quantity::Volume(volume) => LineAmount::Volume(volume),
                Quantity::Count(_) => panic!("{text} is no amount"),
            }
        };
        FormulaLine {
            position,
            phase: None,
            material,
            amount,
            basis,
            function: None,
            use_level_from: None,
            use_level_to: None,
            weighing_tolerance: None,
            instruction: None,
            trim,
        }
    }

    pub fn version(&mut self, code: &str) -> &mut FormulaVersion {
        let formula = self.parts.formulas.iter_mut().find(|f| f.code == code).unwrap();
        &mut formula.versions[0]
    }

    pub fn version_id(&self, code: &str) -> FormulaVersionId {
        self.parts.formulas.iter().find(|f| f.code == code).unwrap().versions[0].id
    }

    /// A pack of a formula without components: `pack("HW-500", "HW", "500 mL")`.
    pub fn pack(&mut self, code: &str, formula: &str, fill: &str) -> &mut Pack {
        let product = self.material(&format!("{code}-FP"));
        product.kind = MaterialKind::FinishedProduct;
        let product = product.id;
        let formula = self.parts.formulas.iter().find(|f| f.code == formula).unwrap().id;
        self.parts.packs.push(Pack {
            id: PackId::new(),
            code: code.to_owned(),
            name: code.to_lowercase(),
            formula,
            product,
            fill: quantity(fill),
            overfill: Percent::ZERO,
            filling_loss: Percent::ZERO,
            components: Vec::new(),
            units_per_case: None,
            line_labour: None,
            run: FillingRun::default(),
            price: None,
            units_a_year: None,
            note: None,
        });
        self.parts.packs.last_mut().unwrap()
    }

    /// A component of the pack made last, at a price per piece.
    pub fn packed_with(&mut self, code: &str, pieces: &str, per: ComponentPer, each: &str) -> &mut Self {
        let material = self.component(code).id;
        self.quote(code, "1 pcs", each, "1 pcs");
        self.parts.packs.last_mut().unwrap().components.push(PackComponent {
            material,
            quantity: Count::from_pieces(dec(pieces)).unwrap(),
            per,
            loss: Percent::ZERO,
        });
        self
    }

    pub fn pack_id(&self, code: &str) -> PackId {
        self.parts.packs.iter().find(|p| p.code == code).unwrap().id
    }
}

pub fn offer(pack: &str, offered: UnitPrice, per: &str, from: Option<&str>) -> Offer {
    Offer {
        pack: quantity(pack),
        price: offered,
        price_per: quantity(per),
        from_quantity: from.map(quantity),
    }
}

#[expect(clippy::unnecessary_wraps, reason = "it is put where a version may have none")]
pub fn measured(text: &str) -> Option<MeasuredDensity> {
    Some(MeasuredDensity {
        density: density(text),
        measured_on: Some(day("2026-01-01")),
        celsius: Some(dec("20")),
    })
}
