//! Balances of the house, and alternates that may be weighed instead of what stands on a ticket.

use chrono::NaiveDate;
use domain::{
    Refusal,
    alternates::Alternate,
    balances::Balance,
    people::{Actor, Capability},
    text::code_key,
};
use kernel::{
    Mass,
    ids::{BalanceId, FormulaId, MaterialId},
};
use rust_decimal::Decimal;
use serde::{Deserialize, Serialize};
use store::{StoreError, constraints};

use crate::{App, Change, Error, change::Begun, fresh::Problems, require};

/// A balance as it is entered; one of the same code is written anew.
#[derive(Debug, Clone, Serialize, Deserialize)]
pub struct BalanceRecord {
    /// The house's short code.
    pub code: String,
    /// What it is called here.
    pub name: String,
    /// The step of its figures.
    pub division: Mass,
    /// The most it carries, container and all.
    pub capacity: Mass,
    /// The least net weight that is sensibly weighed on it; worked out from the division when empty.
    pub smallest_net: Option<Mass>,
    /// It is not used after this day before it was calibrated again.
    pub calibration_due: Option<NaiveDate>,
    /// Remarks.
    pub note: Option<String>,
}

/// An approval of an alternate.
#[derive(Debug, Clone, Serialize, Deserialize)]
pub struct AlternateApprove {
    /// The material that stands on tickets.
    pub material: MaterialId,
    /// What may be weighed instead.
    pub alternate: MaterialId,
    /// Only for this formula; for all when empty.
    pub formula: Option<FormulaId>,
    /// kg of the alternate for one kg of the material.
    pub factor: Decimal,
    /// Whether what is declared on the label changes with it.
    pub changes_label: bool,
    /// The last day it may be used so.
    pub valid_until: Option<NaiveDate>,
    /// What the approval rests on.
    pub evidence: Option<String>,
}

impl App {
    /// Enters a balance, or writes the one of that code anew (calibrated again, say).
    ///
    /// # Errors
    /// [`Error::Invalid`]; [`Refusal::Taken`] when somebody else enters the same code at the same moment.
    pub async fn balance_record(&self, change: &Change<'_>, input: BalanceRecord) -> Result<Balance, Error> {
        let mut work = match self.begin(change, Capability::Administer, "balance-record", &input).await? {
            Begun::Repeat(balance) => return Ok(balance),
            Begun::Fresh(work) => work,
        };
        let mut problems = Problems::default();
        let code = problems.take("code", domain::text::code("a balance's code", &input.code));
        let name = problems.take("name", domain::text::name("a balance's name", &input.name));
        let note = problems.note("note", input.note.as_deref());
        problems.take("division", input.division.require_positive());
        if input.capacity < input.division {
            problems.push("capacity", "a balance carries at least one division");
        }
        if let Some(smallest) = input.smallest_net
            && (!smallest.is_positive() || smallest > input.capacity)
        {
            problems.push("smallestNet", "the least weight lies above nought and within the capacity");
        }
        problems.none()?;
        let (Some(code), Some(name)) = (code, name) else {
            return Err(Error::internal("a balance without problems lacks its name"));
        };
        let before = store::balances::balances_all(&work.tx)
            .await?
            .into_iter()
            .find(|known| code_key(&known.code) == code_key(&code));
        let balance = Balance {
            id: before.as_ref().map_or_else(BalanceId::new, |known| known.id),
            code,
            name,
            division: input.division,
            capacity: input.capacity,
            smallest_net: input.smallest_net,
            calibration_due: input.calibration_due,
            note,
        };
        let written = match &before {
            Some(_) => store::balances::balance_update(&work.tx, &balance).await,
            None => store::balances::balance_insert(&work.tx, &balance).await,
        };
        match written {
            Err(StoreError::Constraint { name, .. }) if name == constraints::BALANCE_CODE => {
                return Err(Refusal::Taken { what: "balance".to_owned(), text: balance.code }.into());
            }
            other => other?,
        }
        work.note("balance", balance.id, before.as_ref(), &balance, None)?;
        work.finish(balance).await
    }

    /// Approves a material to be weighed instead of another. An earlier approval of the same pair no longer holds; to end one, approve
    /// it until a day that is past.
    ///
    /// # Errors
    /// [`Error::Invalid`], [`Error::NotFound`].
    pub async fn alternate_approve(
        &self,
        change: &Change<'_>,
        input: AlternateApprove,
    ) -> Result<Alternate, Error> {
        let mut work =
            match self.begin(change, Capability::ApproveFormulas, "alternate-approve", &input).await? {
                Begun::Repeat(alternate) => return Ok(alternate),
                Begun::Fresh(work) => work,
            };
        let catalogue = self.snapshot();
        let mut problems = Problems::default();
        for (place, id) in [("material", input.material), ("alternate", input.alternate)] {
            let material = catalogue.materials.get(id).ok_or_else(|| Error::not_found("material", id))?;
            if !material.kind.is_stocked() || material.stock_dimension() != kernel::Dimension::Mass {
                problems.push(place, format!("{} is not kept by mass in lots", material.code));
            }
        }
        if input.material == input.alternate {
            problems.push("alternate", "a material is no alternate of itself");
        }
        if let Some(formula) = input.formula
            && catalogue.formulas.get(formula).is_none()
        {
            return Err(Error::not_found("formula", formula));
        }
        if input.factor <= Decimal::ZERO || input.factor > Decimal::from(1_000) {
            problems.push("factor", "kg for one kg: above nought, and at most 1000");
        }
        let evidence = problems.note("evidence", input.evidence.as_deref());
        problems.none()?;
        let approved = Alternate {
            material: input.material,
            alternate: input.alternate,
            formula: input.formula,
            factor: input.factor.normalize(),
            changes_label: input.changes_label,
            valid_until: input.valid_until,
            evidence,
            approved_by: work.by.clone(),
            approved_at: work.at,
        };
        store::balances::alternate_insert(&work.tx, &approved).await?;
        work.note("material", input.material, None::<&()>, &approved, approved.evidence.as_deref())?;
        work.finish(approved).await
    }

    /// All balances, by code.
    ///
    /// # Errors
    /// [`Error::Forbidden`], or when the database cannot be read.
    pub async fn balances(&self, actor: &Actor) -> Result<Vec<Balance>, Error> {
        require(actor, Capability::Look)?;
        Ok(store::balances::balances_all(self.store()).await?)
    }

    /// What was approved to be weighed instead of a material, in the order it was approved; a later entry of a pair holds instead of an
    /// earlier one.
    ///
    /// # Errors
    /// [`Error::Forbidden`], or when the database cannot be read.
    pub async fn alternates_of(&self, actor: &Actor, material: MaterialId) -> Result<Vec<Alternate>, Error> {
        require(actor, Capability::Look)?;
        Ok(store::balances::alternates_of(self.store(), &[material]).await?)
    }
}
