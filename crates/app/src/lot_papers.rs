//! What came with a lot on paper: results of its certificate of analysis, documents kept elsewhere; and a retest that it passed.

use std::collections::HashMap;

use chrono::NaiveDate;
use domain::{
    lots::{
        Lot, LotTerms,
        papers::{DocumentKind, Finding, LotDocument, LotResult, sha256},
    },
    people::{Actor, Capability},
    text,
};
use kernel::{Density, Percent, ids::LotId};
use serde::{Deserialize, Serialize};

use crate::{
    App, Change, ContainerNow, Error, change::Begun, containers::now, fresh::Problems, lots::lot_lock,
    require,
};

/// A certificate of analysis, as it is entered.
#[derive(Debug, Clone, Serialize, Deserialize)]
pub struct LotCertificate {
    /// The lot.
    pub lot: LotId,
    /// Its density; as it is when empty.
    pub density: Option<Density>,
    /// Its active matter; as it is when empty.
    pub active_matter: Option<Percent>,
    /// Everything else that was found; replaces what was entered before.
    pub results: Vec<LotResult>,
}

/// A document kept elsewhere, to be noted on a lot.
#[derive(Debug, Clone, Serialize, Deserialize)]
pub struct LotDocumentAdd {
    /// The lot.
    pub lot: LotId,
    /// What it is.
    pub kind: DocumentKind,
    /// Where it lies: an address or a file's name.
    pub link: String,
    /// Its SHA-256.
    pub sha256: String,
}

/// A retest that a lot passed.
#[derive(Debug, Clone, Serialize, Deserialize)]
pub struct LotRetest {
    /// The lot.
    pub lot: LotId,
    /// The day until which it may be used now.
    pub until: NaiveDate,
    /// What was examined and found.
    pub reason: String,
}

/// What is known of a lot beyond its balances.
#[derive(Debug, Clone, Default)]
pub struct LotDetails {
    /// Its containers, in order.
    pub containers: Vec<ContainerNow>,
    /// The results of its certificate of analysis.
    pub results: Vec<LotResult>,
    /// Documents kept elsewhere.
    pub documents: Vec<LotDocument>,
}

/// The most results of one certificate.
const RESULTS_MAX: usize = 200;

impl App {
    /// Enters the certificate of analysis of a lot. Tickets and costs of batches not made yet use its density and active matter.
    ///
    /// # Errors
    /// [`Error::NotFound`], [`Error::Invalid`].
    pub async fn lot_certificate(&self, change: &Change<'_>, input: LotCertificate) -> Result<Lot, Error> {
        let mut work =
            match self.begin(change, Capability::ReleaseAndReject, "lot-certificate", &input).await? {
                Begun::Repeat(lot) => return Ok(lot),
                Begun::Fresh(work) => work,
            };
        let before = lot_lock(&work.tx, input.lot).await?;
        let mut problems = Problems::default();
        if let Some(density) = input.density {
            problems.take("density", density.require_plausible());
        }
        if let Some(active) = input.active_matter {
            problems.take("activeMatter", active.require_share());
        }
        let results = check_results(&mut problems, &input.results);
        problems.none()?;
        let after = Lot {
            density: input.density.or(before.density),
            active_matter: input.active_matter.or(before.active_matter),
            ..before.clone()
        };
        store::lots::lot_update(&work.tx, &after).await?;
        store::lot_papers::lot_results_replace(&work.tx, after.id, &results).await?;
        work.note(
            "lot",
            after.id,
            Some(&serde_json::json!({ "density": before.density, "activeMatter": before.active_matter })),
            &serde_json::json!({
                "density": after.density,
                "activeMatter": after.active_matter,
                "results": results,
            }),
            None,
        )?;
        work.finish(after).await
    }

    /// Notes a document on a lot. It is never taken off again.
    ///
    /// # Errors
    /// [`Error::NotFound`], [`Error::Invalid`].
    pub async fn lot_document_add(
        &self,
        change: &Change<'_>,
        input: LotDocumentAdd,
    ) -> Result<LotDocument, Error> {
        let mut work = match self.begin(change, Capability::PlanAndMake, "lot-document-add", &input).await? {
            Begun::Repeat(document) => return Ok(document),
            Begun::Fresh(work) => work,
        };
        let lot = lot_lock(&work.tx, input.lot).await?;
        let mut problems = Problems::default();
        let link = problems.take("link", text::note("a link", &input.link));
        let sum = problems.take("sha256", sha256(&input.sha256));
        problems.none()?;
        let (Some(link), Some(sha256)) = (link, sum) else {
            return Err(Error::internal("a document without problems lacks its link"));
        };
        let document = LotDocument {
            lot: lot.id,
            kind: input.kind,
            link,
            sha256,
            added_at: work.at,
            added_by: work.by.clone(),
        };
        store::lot_papers::lot_document_insert(&work.tx, &document).await?;
        work.note("lot", lot.id, None::<&()>, &serde_json::json!({ "document": document }), None)?;
        work.finish(document).await
    }

    /// Gives a lot that passed its retest until a day to be used. The retest date it came with stays; an expiry date is not put off.
    ///
    /// # Errors
    /// [`Error::NotFound`], [`Error::Invalid`] when the lot has no retest date, or the day is past or after its expiry.
    pub async fn lot_retest(&self, change: &Change<'_>, input: LotRetest) -> Result<Lot, Error> {
        let mut work = match self.begin(change, Capability::ReleaseAndReject, "lot-retest", &input).await? {
            Begun::Repeat(lot) => return Ok(lot),
            Begun::Fresh(work) => work,
        };
        let before = lot_lock(&work.tx, input.lot).await?;
        let mut problems = Problems::default();
        let reason = problems.take("reason", text::note("a reason", &input.reason));
        if before.retest_on.is_none() {
            problems.push("lot", format!("lot {} has no retest date", before.number));
        }
        let today = self.today();
        if input.until < today {
            problems.push("until", format!("{} is before today, {today}", input.until));
        }
        if let Some(expiry) = before.expires_on.filter(|expiry| input.until > *expiry) {
            problems.push("until", format!("a retest does not put off its expiry on {expiry}"));
        }
        problems.none()?;
        let terms = LotTerms { retested_until: Some(input.until), ..before.terms.clone() };
        store::lots::lot_terms_set(&work.tx, before.id, &terms).await?;
        let after = Lot { terms, ..before.clone() };
        work.note(
            "lot",
            after.id,
            Some(&serde_json::json!({ "retestBy": before.retest_by() })),
            &serde_json::json!({ "retestBy": after.retest_by() }),
            reason.as_deref(),
        )?;
        work.finish(after).await
    }

    /// Containers, results and documents of some lots; a lot that has none of them is there all the same.
    ///
    /// # Errors
    /// [`Error::Forbidden`], or when the database cannot be read.
    pub async fn lot_details(
        &self,
        actor: &Actor,
        lots: &[LotId],
    ) -> Result<HashMap<LotId, LotDetails>, Error> {
        require(actor, Capability::Look)?;
        let lots = store::lots::lots_get(self.store(), lots).await?;
        let ids: Vec<LotId> = lots.iter().map(|lot| lot.id).collect();
        let mut details: HashMap<LotId, LotDetails> =
            ids.iter().map(|id| (*id, LotDetails::default())).collect();
        for found in store::containers::containers_of_lots(self.store(), &lots).await? {
            if let Some(of) = details.get_mut(&found.0.lot) {
                of.containers.push(now(found));
            }
        }
        for (lot, result) in store::lot_papers::lot_results(self.store(), &ids).await? {
            if let Some(of) = details.get_mut(&lot) {
                of.results.push(result);
            }
        }
        for document in store::lot_papers::lot_documents(self.store(), &ids).await? {
            if let Some(of) = details.get_mut(&document.lot) {
                of.documents.push(document);
            }
        }
        Ok(details)
    }
}

/// Results, each text within its limits.
pub(crate) fn check_results(problems: &mut Problems, results: &[LotResult]) -> Vec<LotResult> {
    if results.len() > RESULTS_MAX {
        problems.push("results", format!("a certificate has at most {RESULTS_MAX} results"));
        return Vec::new();
    }
    let mut checked = Vec::with_capacity(results.len());
    for (at, result) in results.iter().enumerate() {
        let place = format!("results[{at}]");
        let Some(name) = problems.take(&place, text::code("the name of a result", &result.name)) else {
            continue;
        };
        let found = match &result.found {
            Finding::Figure(figure) => Finding::Figure(*figure),
            Finding::Words(words) => match problems.take(&place, text::note("what was found", words)) {
                Some(words) => Finding::Words(words),
                None => continue,
            },
        };
        checked.push(LotResult {
            name,
            method: problems.code(&place, "a method", result.method.as_deref()),
            found,
            unit: problems.code(&place, "a unit", result.unit.as_deref()),
            least: result.least,
            most: result.most,
        });
    }
    checked
}
