//! What something costs, and what can be asked further of it: why two costs differ, what a cost depends on, what a price has to be.
//! Nothing here writes.
//!
//! [`App::costing`] takes the catalogue, and what the ledger holds where a basis asks for it, as they are at one moment; any number of
//! answers come from that, so that two sheets that are compared never stand on two catalogues.

use std::{collections::BTreeSet, sync::Arc};

use chrono::NaiveDate;
use domain::{
    Catalogue,
    people::{Actor, Capability},
};
use engine::{
    CostRequest, CostSheet, CostedProposal, EngineError, Note, SideBySide, StatedOrder, TrimBook, View,
    basis::{Basis, HistoryBook, materials_priced},
    cost_sheet, costed_proposals,
    orders::ordered_otherwise,
    price::{Considered, PriceQuestion, offers_considered},
    sensitivity::{
        BatchCurve, BatchQuestion, DoseQuestion, DoseSweep, DriverQuestion, Drivers, batch_curve, dose_sweep,
        drivers,
    },
    side_by_side,
    source::QuotationSource,
    swap::{ActiveOffers, Swap, SwapQuestion, SwapRefusal, offers_per_active, swap},
};
use kernel::{
    Exact, Mass, Percent,
    ids::{FormulaVersionId, MaterialId},
};

use crate::{App, Error, require};

/// What is asked about a cost.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct CostQuestion {
    /// What, at which batch, on which day, on which basis, ordered how.
    pub request: CostRequest,
    /// So much of some materials stated to be ordered at once, whatever the request says of orders.
    pub orders: Vec<StatedOrder>,
}

impl From<CostRequest> for CostQuestion {
    fn from(request: CostRequest) -> Self {
        Self { request, orders: Vec::new() }
    }
}

/// What costs are worked out from, as it was at one moment.
pub struct Costing {
    catalogue: Arc<Catalogue>,
    trim_use: Arc<TrimBook>,
    history: HistoryBook,
}

impl App {
    /// What some questions need to be answered from: a catalogue taken earlier, so that a client sees one and the same throughout,
    /// and the ledger's history of their materials, and of some others, where one of them is on another basis than replacement.
    ///
    /// # Errors
    /// [`Error::Forbidden`]; [`Error::Invalid`] for a subject that is not there; or when the database cannot be read.
    pub async fn costing(
        &self,
        actor: &Actor,
        catalogue: Arc<Catalogue>,
        questions: &[&CostQuestion],
        others: &[MaterialId],
    ) -> Result<Costing, Error> {
        require(actor, Capability::Look)?;
        let trim_use = self.trim_use();
        let mut materials = BTreeSet::new();
        for question in questions.iter().filter(|q| q.request.basis != Basis::Replacement) {
            let view = View::plain(&catalogue).with_trim_use(&trim_use);
            materials.extend(materials_priced(&view, &question.request)?);
            materials.extend(others);
        }
        let history = if materials.is_empty() {
            HistoryBook::default()
        } else {
            let materials: Vec<MaterialId> = materials.into_iter().collect();
            self.history_book(&catalogue, &materials).await?
        };
        Ok(Costing { catalogue, trim_use, history })
    }
}

/// A sweep as it is asked for: see [`DoseQuestion`].
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct DoseAsked {
    /// The position of the line whose dose is varied.
    pub line: u32,
    /// The position of the line that takes up the difference; `None` for the q.s. line.
    pub against: Option<u32>,
    /// The first and the last dose, % w/w as supplied; `None` from nought to twice the dose.
    pub range: Option<(Percent, Percent)>,
    /// How many points; `None` for twenty-one.
    pub points: Option<u32>,
}

impl Costing {
    fn view<'a>(&'a self, question: &'a CostQuestion) -> View<'a> {
        View::plain(&self.catalogue)
            .with_trim_use(&self.trim_use)
            .with_history(&self.history)
            .ordering(&question.orders)
    }

    /// The catalogue it stands on.
    pub fn catalogue(&self) -> &Arc<Catalogue> {
        &self.catalogue
    }

    /// What it costs, line by line.
    ///
    /// # Errors
    /// [`EngineError`] when there is no answer at all. What is merely missing is a gap in the answer.
    pub fn sheet(&self, question: &CostQuestion) -> Result<CostSheet, EngineError> {
        cost_sheet(&self.view(question), &question.request)
    }

    /// What would cost another price if it were ordered for the year instead of the batch, or the other way round.
    ///
    /// # Errors
    /// As [`Costing::sheet`].
    pub fn ordered_otherwise(
        &self,
        question: &CostQuestion,
        sheet: &CostSheet,
    ) -> Result<Vec<Note>, EngineError> {
        match question.request.basis {
            Basis::Replacement => ordered_otherwise(&self.view(question), sheet),
            // What was paid does not change by what is ordered next.
            _ => Ok(Vec::new()),
        }
    }

    /// Every offer that was looked at for the price of a material on a sheet, the one chosen first, with why the others were not.
    ///
    /// # Errors
    /// As [`Costing::sheet`].
    pub fn offers_considered(
        &self,
        question: &CostQuestion,
        material: MaterialId,
        source: &QuotationSource,
    ) -> Result<Vec<Considered>, EngineError> {
        let view = self.view(question);
        let asked = PriceQuestion { demand: source.demand.clone(), ..PriceQuestion::of(&source.demanded) };
        offers_considered(&view, view.material(material)?, &asked, question.request.as_of)
    }

    /// Two versions side by side: doses, active matter, cost.
    ///
    /// # Errors
    /// As [`Costing::sheet`].
    pub fn side_by_side(
        &self,
        before: FormulaVersionId,
        after: FormulaVersionId,
        batch: Option<Mass>,
        as_of: NaiveDate,
    ) -> Result<SideBySide, EngineError> {
        let view = View::plain(&self.catalogue).with_trim_use(&self.trim_use);
        side_by_side(&view, before, after, batch, as_of)
    }

    /// What it costs at other doses of one line, another line taking up the difference.
    ///
    /// # Errors
    /// As [`Costing::sheet`]; lines that are not there, a range the wrong way round, too many points.
    pub fn dose_sweep(&self, question: &CostQuestion, of: DoseAsked) -> Result<DoseSweep, EngineError> {
        let DoseAsked { line, against, range, points } = of;
        let asked = DoseQuestion { of: question.request, line, against, range, points };
        dose_sweep(&self.view(question), &asked)
    }

    /// What it costs when each driver in turn is low and high, ranked by swing. `spreads` says how far each is moved, for the request
    /// of the question.
    ///
    /// # Errors
    /// As [`Costing::sheet`]; percents that are none.
    pub fn drivers(&self, question: &CostQuestion, spreads: &DriverQuestion) -> Result<Drivers, EngineError> {
        let asked = DriverQuestion { of: question.request, ..*spreads };
        drivers(&self.view(question), &asked)
    }

    /// What it costs at other batches, and the smallest batch that meets a cost.
    ///
    /// # Errors
    /// As [`Costing::sheet`]; too many batches.
    pub fn batch_curve(
        &self,
        question: &CostQuestion,
        batches: Vec<Mass>,
        target: Option<Exact>,
    ) -> Result<BatchCurve, EngineError> {
        let asked = BatchQuestion { of: question.request, batches, target };
        batch_curve(&self.view(question), &asked)
    }

    /// One material exchanged for another of the same active matter; the inner error is why it cannot be done.
    ///
    /// # Errors
    /// As [`Costing::sheet`].
    pub fn swap(
        &self,
        question: &CostQuestion,
        old: MaterialId,
        new: MaterialId,
        against: Option<u32>,
    ) -> Result<Result<Swap, SwapRefusal>, EngineError> {
        let asked = SwapQuestion { of: question.request, old, new, against };
        swap(&self.view(question), &asked)
    }

    /// What each offer of some materials costs per kg of active matter when so much active matter is ordered.
    ///
    /// # Errors
    /// As [`Costing::sheet`]; active matter that is not above nought.
    pub fn offers_per_active(
        &self,
        materials: &[MaterialId],
        active: Mass,
        on: NaiveDate,
    ) -> Result<ActiveOffers, EngineError> {
        offers_per_active(&View::plain(&self.catalogue), materials, active, on)
    }

    /// The ways to put right a version whose lines miss their total, line by line before and after, each with its cost sheet. The
    /// difference is taken from the line named, else from what is drawn or the largest. Empty where there is nothing to put right.
    ///
    /// # Errors
    /// As [`Costing::sheet`].
    pub fn proposals(
        &self,
        question: &CostQuestion,
        diluent: Option<u32>,
    ) -> Result<Vec<CostedProposal>, EngineError> {
        costed_proposals(&self.view(question), &question.request, diluent)
    }
}
