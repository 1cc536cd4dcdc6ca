//! Costing on what was paid rather than on what is quoted, and freezing standards.

use std::collections::BTreeSet;

use chrono::NaiveDate;
use domain::{
    Catalogue, Problem,
    materials::MaterialKind,
    people::{Actor, Capability},
    standards::Standard,
    text::code_key,
};
use engine::{
    CostRequest, CostSheet, View,
    basis::{Basis, HistoryBook, OnBases, StandardCost, bases_side_by_side, freeze_costs, materials_priced},
};
use kernel::{
    Exact, Money,
    ids::{MaterialId, MovementId},
};
use serde::{Deserialize, Serialize};
use std::collections::HashMap;

use crate::{App, Change, Error, change::Begun};

/// Standards to be frozen.
#[derive(Debug, Clone, Serialize, Deserialize)]
pub struct StandardsFreeze {
    /// The basis they are taken from; not standard itself.
    pub basis: Basis,
    /// The day they hold from; today when empty.
    pub on: Option<NaiveDate>,
}

/// A standard, with what it is sorted by.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct StandardOf {
    /// The material's code, letter case aside.
    pub key: String,
    /// The standard.
    pub standard: Standard,
}

/// What freezing standards kept.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct StandardsFrozen {
    /// The day they hold from.
    pub on: NaiveDate,
    /// The standards kept.
    pub standards: Vec<Standard>,
    /// Materials that have no cost on the basis, and why.
    pub without: Vec<Problem>,
}

impl App {
    /// What a formula version or a pack costs on the request's basis.
    ///
    /// # Errors
    /// As [`App::cost_sheet`], or when the database cannot be read.
    pub async fn cost_sheet_on_basis(
        &self,
        actor: &Actor,
        request: &CostRequest,
    ) -> Result<CostSheet, Error> {
        if request.basis == Basis::Replacement {
            return self.cost_sheet(actor, request);
        }
        let catalogue = self.catalogue(actor)?;
        let trim_use = self.trim_use();
        let view = View::plain(&catalogue).with_trim_use(&trim_use);
        let materials = materials_priced(&view, request)?;
        let book = self.history_book(&catalogue, &materials).await?;
        Ok(engine::cost_sheet(&view.with_history(&book), request)?)
    }

    /// What a formula version or a pack costs on each of several bases, line beside line.
    ///
    /// # Errors
    /// As [`App::cost_sheet_on_basis`].
    pub async fn cost_on_bases(
        &self,
        actor: &Actor,
        request: &CostRequest,
        bases: &[Basis],
    ) -> Result<OnBases, Error> {
        let catalogue = self.catalogue(actor)?;
        let trim_use = self.trim_use();
        let view = View::plain(&catalogue).with_trim_use(&trim_use);
        let materials = materials_priced(&view, request)?;
        let book = self.history_book(&catalogue, &materials).await?;
        Ok(bases_side_by_side(&view.with_history(&book), request, bases)?)
    }

    /// Freezes what every bought material and component costs on a basis as its standard from a day on. A material keeps the
    /// standard it already has of that day.
    ///
    /// # Errors
    /// [`Error::Invalid`] for the standard basis itself, or when the database cannot be read.
    pub async fn standards_freeze(
        &self,
        change: &Change<'_>,
        input: StandardsFreeze,
    ) -> Result<StandardsFrozen, Error> {
        let mut work = match self.begin(change, Capability::Administer, "standards-freeze", &input).await? {
            Begun::Repeat(frozen) => return Ok(frozen),
            Begun::Fresh(work) => work,
        };
        if input.basis == Basis::Standard {
            return Err(Error::invalid("basis", "a standard is frozen from another basis"));
        }
        let on = input.on.unwrap_or_else(|| self.today());
        let catalogue = self.snapshot();
        let bought: Vec<MaterialId> = catalogue
            .materials
            .iter()
            .filter(|m| matches!(m.kind, MaterialKind::RawMaterial | MaterialKind::PackagingComponent))
            .map(|m| m.id)
            .collect();
        let kept: BTreeSet<MaterialId> = store::standards::standards_of_materials(&work.tx, &bought)
            .await?
            .into_iter()
            .filter(|standard| standard.frozen_on == on)
            .map(|standard| standard.material)
            .collect();
        let book = self.history_book(&catalogue, &bought).await?;
        let view = View::plain(&catalogue).with_history(&book);
        // The smallest order decides the price break: a standard is not to rest on an order nobody means to place.
        let wanted = bought.iter().filter(|id| !kept.contains(id)).map(|id| (*id, Exact::ONE));
        let frozen = freeze_costs(&view, wanted, input.basis, on)?;
        let standards: Vec<Standard> = frozen
            .costs
            .into_iter()
            .map(|(material, cost)| Standard {
                material,
                frozen_on: cost.frozen_on,
                unit_cost: cost.unit_cost,
                basis: cost.basis.code().to_owned(),
                explained: cost.explained,
            })
            .collect();
        store::standards::standards_insert(&work.tx, &standards).await?;
        let answer = StandardsFrozen {
            on,
            standards,
            without: frozen.gaps.iter().map(|gap| Problem::at(gap.code(), gap)).collect(),
        };
        work.note("standards", on, None::<&()>, &answer, None)?;
        work.finish(answer).await
    }

    /// Standards by material code and day: of one material or all, with their history or only those that hold on a day.
    ///
    /// # Errors
    /// [`Error::Forbidden`], or when the database cannot be read.
    pub async fn standards(
        &self,
        actor: &Actor,
        material: Option<MaterialId>,
        on: Option<NaiveDate>,
    ) -> Result<Vec<StandardOf>, Error> {
        let catalogue = self.catalogue(actor)?;
        let materials: Vec<MaterialId> = match material {
            Some(material) => vec![material],
            None => catalogue.materials.iter().map(|m| m.id).collect(),
        };
        let kept = store::standards::standards_of_materials(self.store(), &materials).await?;
        let mut found: Vec<StandardOf> = kept
            .into_iter()
            .filter(|standard| on.is_none_or(|on| standard.frozen_on <= on))
            .filter_map(|standard| {
                let material = catalogue.materials.get(standard.material)?;
                Some(StandardOf { key: code_key(&material.code), standard })
            })
            .collect();
        found.sort_by(|a, b| (&a.key, a.standard.frozen_on).cmp(&(&b.key, b.standard.frozen_on)));
        if on.is_some() {
            // The last of each material holds.
            found.reverse();
            found.dedup_by(|a, b| a.key == b.key);
            found.reverse();
        }
        Ok(found)
    }

    /// Histories and standards of some materials.
    pub(crate) async fn history_book(
        &self,
        catalogue: &Catalogue,
        materials: &[MaterialId],
    ) -> Result<HistoryBook, Error> {
        // One transaction, so that lots and movements belong together.
        let tx = self.store().begin_read().await?;
        let lots = store::lots::lots_ever_of_materials(&tx, materials).await?;
        let ids: Vec<_> = lots.iter().map(|lot| lot.id).collect();
        let mut movements = store::stock::movements_of_lots(&tx, &ids).await?;
        // What was settled later counts as if it had been known from the start.
        let mut corrected: HashMap<MovementId, Money> = HashMap::new();
        for share in
            store::corrections::corrections_of_lots(&tx, &ids).await?.into_iter().flat_map(|c| c.shares)
        {
            let sum = match corrected.get(&share.movement) {
                Some(sum) => sum.checked_add(share.amount)?,
                None => share.amount,
            };
            corrected.insert(share.movement, sum);
        }
        if !corrected.is_empty() {
            for movement in &mut movements {
                if let Some(by) = corrected.get(&movement.id) {
                    movement.value = Some(match movement.value {
                        Some(posted) => posted.checked_add(*by)?,
                        None => *by,
                    });
                }
            }
        }
        let mut book = HistoryBook::from_ledger(&lots, &movements)?;
        for standard in store::standards::standards_of_materials(&tx, materials).await? {
            // A standard of a basis this programme no longer knows still holds; it only says less of where it came from.
            let basis = standard.basis.parse().unwrap_or(Basis::Standard);
            let cost = StandardCost {
                frozen_on: standard.frozen_on,
                unit_cost: standard.unit_cost,
                basis,
                explained: standard.explained,
            };
            if cost.unit_cost.currency() == catalogue.settings.currency {
                book.set_standard(standard.material, cost);
            }
        }
        Ok(book)
    }
}
