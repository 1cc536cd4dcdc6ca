//! Formulas: their versions, lines by phase with what is active in them, cost, cautions, and two versions side by side.

use std::collections::BTreeMap;

use axum::{
    extract::{Path, State},
    http::StatusCode,
};
use domain::{
    Catalogue,
    formulas::{Formula, FormulaVersion, LineAmount, VersionStatus},
    materials::{UseLevel, UseLevelKind},
    people::Capability,
};
use engine::{
    CostRequest, CostSheet, EngineError, View,
    explode::{UseLevelBreach, use_level_breaches},
    normalise::{Normalised, NormalisedLine, normalise},
    present,
};
use kernel::{Exact, ids::MaterialId};
use maud::{Markup, html};

use crate::{
    Web,
    access::{Answer, Asked, Sent, Who},
    fields::{Fields, Reader},
    figures as fig,
    frame::{self, Place},
    links,
    pages::{cautions, cost, material_link, sensitivity},
    respond::{PageError, go, shown},
    text as t,
    ui::{self, Field, Kept, Tone},
};

/// Formulas on one page of the list.
const LISTED: usize = 300;

/// All formulas.
pub async fn list(State(web): State<Web>, who: Who) -> Answer {
    let catalogue = web.app.catalogue(&who.actor)?;
    let currency = catalogue.settings.currency.code();
    let rows = html! {
        @for formula in catalogue.formulas.iter().take(LISTED) {
            tr {
                td { a href=(links::formula(&formula.code)) { span.code { (formula.code) } " " (formula.name) } }
                td {
                    @for version in &formula.versions {
                        a href=(links::version(&formula.code, version.number)) { (t::version(version.number)) } " "
                        (version_status(version.status)) " "
                    }
                }
                td { (material_link(&catalogue, formula.makes)) }
                td.num {
                    @match formula.approved_on(who.today) {
                        Some(version) => {
                            @match web.app.cost_sheet(&who.actor, &CostRequest::version(version.id, who.today)) {
                                Ok(sheet) => {
                                    (fig::exact(&sheet.totals.per_kg, 4, currency))
                                    @if !sheet.complete { " " (fig::gap()) }
                                }
                                Err(_) => { (fig::gap()) }
                            }
                        }
                        None => { span.quiet { (t::NOT_APPROVED) } }
                    }
                }
            }
        }
    };
    let body = html! {
        div.title-row {
            h1 { (t::FORMULAS) }
            @if who.may(Capability::PlanAndMake) { a.button href="/draft" { (t::NEW_FORMULA) } }
        }
        @if catalogue.formulas.is_empty() { (ui::nothing(t::FORMULAS_NONE)) } @else {
            (ui::table(t::FORMULAS, &html! {
                th { (t::FORMULA) } th { (t::VERSIONS) } th { (t::MAKES) } th.num { (t::PER_KG_APPROVED) }
            }, &rows))
        }
        @if catalogue.formulas.len() > LISTED { p.quiet { (t::list_cut(LISTED, catalogue.formulas.len())) } }
    };
    Ok(shown(StatusCode::OK, frame::page(&who, Place::Formulas, t::FORMULAS, &body)))
}

fn version_status(status: VersionStatus) -> Markup {
    let tone = match status {
        VersionStatus::Draft => Tone::Care,
        VersionStatus::Approved => Tone::Good,
        VersionStatus::Retired => Tone::Calm,
    };
    ui::badge(tone, status.word())
}

/// The version asked for, or the one approved today, or the latest.
fn version_of<'a>(formula: &'a Formula, fields: &Fields, who: &Who) -> Result<&'a FormulaVersion, PageError> {
    let asked = fields.first("version");
    let found = if asked.is_empty() {
        formula.approved_on(who.today).or_else(|| formula.versions.last())
    } else {
        asked.parse().ok().and_then(|number| formula.version(number))
    };
    found.ok_or_else(|| PageError::not_found("formula version", asked))
}

/// One version of a formula.
pub async fn page(
    State(web): State<Web>,
    who: Who,
    Path(code): Path<String>,
    Asked(fields): Asked,
) -> Answer {
    let catalogue = web.app.catalogue(&who.actor)?;
    shown_formula(&web, &who, &catalogue, &code, &fields, &Kept::default())
}

fn shown_formula(
    web: &Web,
    who: &Who,
    catalogue: &Catalogue,
    code: &str,
    fields: &Fields,
    acted: &Kept,
) -> Answer {
    let formula = catalogue.formulas.by_code(code).ok_or_else(|| PageError::not_found("formula", code))?;
    let version = version_of(formula, fields, who)?;
    let mut reader = Reader::new(fields);
    let as_of = reader.date("as_of").unwrap_or(who.today);
    let batch = reader.mass("batch");
    let asked = Kept::question("ask", fields, reader.problems)?;
    let trim_use = web.app.trim_use();
    let view = View::plain(catalogue).with_trim_use(&trim_use);
    let sheet = engine::cost_sheet(&view, &CostRequest { batch, ..CostRequest::version(version.id, as_of) });
    let printed = sheet.as_ref().ok().map(present::cost_sheet).transpose()?;
    let normal = normalise(&view, version);
    let body = html! {
        p.crumb { a href="/formulas" { (t::FORMULAS) } }
        h1 { span.code { (formula.code) } " " (formula.name) }
        (versions(formula, version))
        @if let Some(note) = &version.note { p.lead { (note) } }
        (acted.notice("version"))
        (ways_to_write(who, formula, version))
        (status_forms(who, formula, version, acted))
        (asked.notice("ask"))
        form.inline method="get" action=(links::formula(&formula.code)) {
            input type="hidden" name="version" value=(version.number);
            (Field::date("ask", "as_of", t::AS_OF).start(&as_of.to_string()).needed().show(&asked))
            (Field::amount("ask", "batch", t::BATCH_SIZE).start(fields.first("batch")).hint(t::BATCH_SIZE_HINT).show(&asked))
            button type="submit" { (t::WORK_OUT) }
        }
        @match (&sheet, &printed) {
            (Ok(sheet), Some(printed)) => { (headline(sheet, printed)) (cost::remarks(printed)) }
            (Err(error), _) => { (cost::not_costed(error)) }
            (Ok(_), None) => {}
        }
        h2 { (t::THE_SHEET) }
        @match &normal {
            Ok(normal) => { (lines(catalogue, version, normal)) }
            Err(error) => { (cost::not_costed(error)) }
        }
        (use_levels(&view, version, as_of))
        h2 { (t::CAUTIONS) }
        @let materials = version.lines.iter().filter_map(|line| catalogue.materials.get(line.material));
        (cautions(&engine::cautions(materials.map(AsRef::as_ref))))
        @if let (Ok(sheet), Some(printed)) = (&sheet, &printed) {
            (cost::ranked(sheet))
            h2 { (t::COST_LINES) }
            (cost::lines(printed))
            (cost::batch_facts(printed))
            (sensitivity::doses(&view, &CostRequest { batch, ..CostRequest::version(version.id, as_of) }, sheet, fields, &links::formula(&formula.code)))
        }
        h2 { (t::FILLED_INTO) }
        @if catalogue.packs_of(formula.id).is_empty() { (ui::nothing(t::FILLED_INTO_NONE)) }
        ul.lines {
            @for pack in catalogue.packs_of(formula.id).iter().filter_map(|id| catalogue.packs.get(*id)) {
                li { a href=(links::pack(&pack.code)) { span.code { (pack.code) } " " (pack.name) } }
            }
        }
    };
    let status = if acted.is("version") { acted.status() } else { asked.status() };
    Ok(shown(status, frame::page(who, Place::Formulas, &formula.code, &body)))
}

fn versions(formula: &Formula, current: &FormulaVersion) -> Markup {
    html! {
        ul.tabs aria-label=(t::VERSIONS) {
            @for version in &formula.versions {
                li {
                    a href=(links::version(&formula.code, version.number))
                        aria-current=[(version.number == current.number).then_some("true")] {
                        (t::version(version.number))
                    }
                    " " (version_status(version.status))
                    @if version.number != current.number {
                        " " a.quiet href={ (links::formula(&formula.code)) "/compare?a=" (version.number) "&b=" (current.number) } {
                            (t::COMPARE)
                        }
                    }
                }
            }
        }
        @if let Some(approval) = &current.approval {
            p.quiet { (t::APPROVED_BY) " " (approval.by) ", " (fig::date(approval.on)) }
        }
    }
}

/// To the sheet as a form: this draft, the next version, another formula.
fn ways_to_write(who: &Who, formula: &Formula, version: &FormulaVersion) -> Markup {
    if !who.may(Capability::PlanAndMake) {
        return html! {};
    }
    let number = version.number.to_string();
    let way =
        |name: &str| links::with_query("/draft", &[(name, formula.code.as_str()), ("version", &number)]);
    let draft = version.status == VersionStatus::Draft;
    html! {
        p.ways-on {
            a.button.plain href=(way("formula")) { @if draft { (t::EDIT_DRAFT) } @else { (t::COPY_TO_VERSION) } }
            a.button.plain href=(way("copy")) { (t::COPY_TO_FORMULA) }
        }
    }
}

fn status_forms(who: &Who, formula: &Formula, version: &FormulaVersion, kept: &Kept) -> Markup {
    let (action, label) = match version.status {
        VersionStatus::Draft => ("approve", t::APPROVE),
        VersionStatus::Approved => ("retire", t::RETIRE),
        VersionStatus::Retired => return html! {},
    };
    if !who.may(Capability::ApproveFormulas) {
        return html! {};
    }
    html! {
        form.inline method="post" action={ (links::formula(&formula.code)) "/" (action) } {
            (ui::form_keys(who, kept, "version"))
            input type="hidden" name="version" value=(version.number);
            button.plain type="submit" { (label) " " (t::version(version.number)) }
        }
    }
}

/// Approves a draft.
pub async fn approve(State(web): State<Web>, Path(code): Path<String>, sent: Sent) -> Answer {
    let catalogue = web.app.catalogue(&sent.who.actor)?;
    let formula = catalogue.formulas.by_code(&code).ok_or_else(|| PageError::not_found("formula", &code))?;
    let version = version_of(formula, &sent.fields, &sent.who)?;
    match web.app.formula_version_approve(&sent.change(), version.id).await {
        Ok(_) => Ok(go(&links::version(&formula.code, version.number))),
        Err(error) => {
            let kept = Kept::after("version", sent.fields.clone(), error)?;
            shown_formula(&web, &sent.who, &catalogue, &code, &sent.fields, &kept)
        }
    }
}

/// Retires an approved version.
pub async fn retire(State(web): State<Web>, Path(code): Path<String>, sent: Sent) -> Answer {
    let catalogue = web.app.catalogue(&sent.who.actor)?;
    let formula = catalogue.formulas.by_code(&code).ok_or_else(|| PageError::not_found("formula", &code))?;
    let version = version_of(formula, &sent.fields, &sent.who)?;
    match web.app.formula_version_retire(&sent.change(), version.id).await {
        Ok(_) => Ok(go(&links::version(&formula.code, version.number))),
        Err(error) => {
            let kept = Kept::after("version", sent.fields.clone(), error)?;
            shown_formula(&web, &sent.who, &catalogue, &code, &sent.fields, &kept)
        }
    }
}

fn headline(sheet: &CostSheet, printed: &present::PrintedCostSheet) -> Markup {
    let currency = printed.currency.code();
    html! {
        section.headline aria-label=(t::HEADLINE) {
            div.big {
                p.name { @if printed.complete { (t::ONE_KG_COSTS) } @else { (t::ONE_KG_COSTS_AT_LEAST) } }
                p.figure { (fig::decimal(printed.totals.per_kg.round_dp(4), currency)) }
                p.quiet { (t::BATCH_OF) " " (fig::exact(&sheet.batch.charged, 0, "kg")) ", " (fig::date(printed.as_of)) }
            }
            dl.facts {
                (ui::fact(t::PER_LITRE, &fig::decimal_or_gap(printed.totals.per_litre.map(|d| d.round_dp(4)), currency)))
                (ui::fact(t::PER_BATCH, &fig::decimal(printed.totals.per_batch, currency)))
                (ui::fact(t::DENSITY, &fig::decimal_or_gap(printed.density_kg_per_litre, "kg/L")))
            }
        }
    }
}

fn per_thousand(share: Option<&Exact>) -> Markup {
    match share {
        Some(share) => fig::exact(&(share * &Exact::whole(1_000)), 3, "g"),
        None => fig::gap(),
    }
}

fn as_written(amount: &LineAmount) -> String {
    match amount {
        LineAmount::Percent(percent) => percent.to_string(),
        LineAmount::PercentWeightInVolume(percent) => format!("{percent} w/v"),
        LineAmount::PercentVolumeInVolume(percent) => format!("{percent} v/v"),
        LineAmount::Parts(parts) => parts.to_string(),
        LineAmount::Mass(mass) => mass.to_string(),
        LineAmount::Volume(volume) => volume.to_string(),
        LineAmount::QuantitySufficient => t::QS.to_owned(),
    }
}

fn lines(catalogue: &Catalogue, version: &FormulaVersion, normal: &Normalised) -> Markup {
    let mut total = Exact::ZERO;
    let mut active = Exact::ZERO;
    for line in &normal.lines {
        total += line.share.as_ref().unwrap_or(&Exact::ZERO);
        active += line.active_share.as_ref().unwrap_or(&Exact::ZERO);
    }
    let mut last_phase: Option<&str> = None;
    let mut rows = Vec::new();
    for (written, line) in version.lines.iter().zip(&normal.lines) {
        let phase = line.phase.as_deref();
        if phase != last_phase {
            if let Some(name) = phase {
                let sum: Exact = normal
                    .lines
                    .iter()
                    .filter(|l| l.phase.as_deref() == phase)
                    .filter_map(|l| l.share.clone())
                    .sum();
                rows.push(html! {
                    tr.phase-row { th colspan="2" scope="rowgroup" { (t::PHASE) " " (name) } td.num { (fig::fraction(&sum, 2)) } td colspan="5" {} }
                });
            }
            last_phase = phase;
        }
        rows.push(html! {
            tr {
                td.num { (line.position) }
                td { (material_link(catalogue, line.material)) @if let Some(instruction) = &written.instruction { br; span.quiet { (instruction) } } }
                td.num { (fig::exact_or_gap(line.share.as_ref().map(|share| share * &Exact::whole(100)).as_ref(), 3, "%")) }
                td.num { (per_thousand(line.share.as_ref())) }
                td.num { @if let Some(share) = &line.active_share { (fig::fraction(share, 3)) } @else { span.quiet { "–" } } }
                td { (as_written(&written.amount)) " " @if written.basis == domain::formulas::AmountBasis::ActiveMatter { span.quiet { (t::AS_ACTIVE) } } }
                td { (written.function.as_deref().unwrap_or("")) }
                td { (use_level(catalogue, line)) }
            }
        });
    }
    html! {
        (ui::table(t::THE_SHEET, &html! {
            th.num { "#" } th { (t::MATERIAL) } th.num { (t::AS_SUPPLIED) } th.num { (t::PER_1000_G) } th.num { (t::ACTIVE) }
            th { (t::AS_WRITTEN) } th { (t::FUNCTION) } th { (t::USE_LEVEL) }
        }, &html! {
            @for row in &rows { (row) }
            tr.total {
                td {} td { (t::TOTAL) }
                td.num { (fig::fraction(&total, 3)) } td.num { (per_thousand(Some(&total))) } td.num { (fig::fraction(&active, 3)) }
                td colspan="3" { @if !normal.is_complete() { (fig::gap()) } }
            }
        }))
        @for note in &normal.notes { p.quiet { (t::sentence(&note.to_string())) } }
        p.quiet {
            (t::PROCESS_LOSS) " " (fig::percent(version.process_loss)) ", " (t::HEEL) " " (fig::weighed_figure(version.heel))
            ", " (t::USUAL_BATCH) " " (fig::exact(&version.usual_batch.to_exact(), 0, "kg"))
            @if let Some(life) = version.shelf_life { ", " (t::SHELF_LIFE) " " (life) }
        }
    }
}

fn use_level(catalogue: &Catalogue, line: &NormalisedLine) -> Markup {
    let level = catalogue.materials.get(line.material).and_then(|material| material.use_level);
    let Some(UseLevel { from, to, kind }) = level else { return html! {} };
    let legal = kind == UseLevelKind::Legal;
    html! {
        span.quiet {
            (t::use_level(from.map(|p| p.percent().to_string()), to.map(|p| p.percent().to_string())))
            @if legal { " " strong { (t::LEGAL) } }
        }
    }
}

fn use_levels(view: &View<'_>, version: &FormulaVersion, on: chrono::NaiveDate) -> Markup {
    match use_level_breaches(view, version, on) {
        Ok(breaches) if breaches.is_empty() => {
            html! { p { (ui::badge(Tone::Good, t::USE_LEVELS_KEPT)) } }
        }
        Ok(breaches) => ui::notice(
            if breaches.iter().any(|breach| breach.kind == UseLevelKind::Legal) {
                Tone::Bad
            } else {
                Tone::Care
            },
            &html! {
                p { strong { (t::USE_LEVELS_BROKEN) } }
                ul {
                    @for breach in &breaches {
                        li { (breach_line(breach)) }
                    }
                }
            },
        ),
        // The same error stands above, where the lines should be.
        Err(_) => html! {},
    }
}

/// One use level that is broken.
pub(super) fn breach_line(breach: &UseLevelBreach) -> Markup {
    html! {
        (breach.material.to_string()) ": " (fig::fraction(&breach.found, 3)) ", "
        @if breach.is_most { (t::AT_MOST) } @else { (t::AT_LEAST) } " " (breach.limit.to_string())
        @if breach.kind == UseLevelKind::Legal { " " strong { (t::LEGAL) } }
    }
}

/// A version with its lines as shares and its cost.
struct Side<'a> {
    version: &'a FormulaVersion,
    shares: BTreeMap<MaterialId, Option<Exact>>,
    actives: BTreeMap<MaterialId, Exact>,
    sheet: Result<CostSheet, EngineError>,
}

impl<'a> Side<'a> {
    fn of(view: &View<'_>, version: &'a FormulaVersion, on: chrono::NaiveDate) -> Result<Self, EngineError> {
        let normal = normalise(view, version)?;
        let mut shares: BTreeMap<MaterialId, Option<Exact>> = BTreeMap::new();
        let mut actives: BTreeMap<MaterialId, Exact> = BTreeMap::new();
        for line in normal.lines {
            let sum = shares.entry(line.material).or_insert(Some(Exact::ZERO));
            *sum = sum.take().zip(line.share).map(|(a, b)| a + b);
            if let Some(share) = line.active_share {
                *actives.entry(line.material).or_default() += share;
            }
        }
        Ok(Self {
            version,
            shares,
            actives,
            sheet: engine::cost_sheet(view, &CostRequest::version(version.id, on)),
        })
    }

    /// What a material costs in one kilogram of good output.
    fn cost_of(&self, material: MaterialId) -> Option<Exact> {
        let sheet = self.sheet.as_ref().ok()?;
        let mut sum = Exact::ZERO;
        for line in sheet.lines.iter().filter(|line| line.material.as_ref().is_some_and(|m| m.id == material))
        {
            sum += line.value.as_ref()?;
        }
        sum.checked_div(&sheet.batch.good).ok()
    }
}

/// Two versions side by side: dose, active, cost.
pub async fn compare(
    State(web): State<Web>,
    who: Who,
    Path(code): Path<String>,
    Asked(fields): Asked,
) -> Answer {
    let catalogue = web.app.catalogue(&who.actor)?;
    let formula = catalogue.formulas.by_code(&code).ok_or_else(|| PageError::not_found("formula", &code))?;
    let side = |name: &str| {
        let number = fields.first(name);
        number
            .parse()
            .ok()
            .and_then(|n| formula.version(n))
            .ok_or_else(|| PageError::not_found("formula version", number))
    };
    let trim_use = web.app.trim_use();
    let view = View::plain(&catalogue).with_trim_use(&trim_use);
    let (a, b) = (Side::of(&view, side("a")?, who.today)?, Side::of(&view, side("b")?, who.today)?);
    let currency = catalogue.settings.currency;
    let materials: std::collections::BTreeSet<MaterialId> =
        a.shares.keys().chain(b.shares.keys()).copied().collect();
    let mut materials: Vec<MaterialId> = materials.into_iter().collect();
    materials.sort_by_key(|id| catalogue.materials.get(*id).map(|material| material.code.clone()));
    let dose = |side: &Side<'_>, id: MaterialId| match side.shares.get(&id) {
        None => html! { span.quiet { "–" } },
        Some(share) => fig::exact_or_gap(share.as_ref().map(|s| s * &Exact::whole(100)).as_ref(), 3, "%"),
    };
    let active = |side: &Side<'_>, id: MaterialId| side.actives.get(&id).map(|share| fig::fraction(share, 3));
    let money = |side: &Side<'_>, id: MaterialId| match (side.shares.contains_key(&id), side.cost_of(id)) {
        (false, _) => html! { span.quiet { "–" } },
        (true, cost) => fig::exact_or_gap(cost.as_ref(), 4, currency.code()),
    };
    let titles = [t::version(a.version.number), t::version(b.version.number)];
    let body = html! {
        p.crumb { a href=(links::formula(&formula.code)) { (formula.code) " " (formula.name) } }
        h1 { (t::compare_title(a.version.number, b.version.number)) }
        p.lead { (t::COMPARE_LEAD) " " (fig::date(who.today)) "." }
        div.pair {
            @for side in [&a, &b] {
                section.card {
                    h2 { (t::version(side.version.number)) " " (version_status(side.version.status)) }
                    @match &side.sheet {
                        Ok(sheet) => {
                            dl.facts {
                                (ui::fact(t::PER_KG, &fig::exact(&sheet.totals.per_kg, 4, currency.code())))
                                (ui::fact(t::PER_LITRE, &fig::exact_or_gap(sheet.totals.per_litre.as_ref(), 4, currency.code())))
                            }
                            @if !sheet.complete { p { (fig::gap()) " " (t::gaps(sheet.gaps.len())) } }
                        }
                        Err(error) => { (cost::not_costed(error)) }
                    }
                }
            }
        }
        (ui::table(t::COMPARE, &html! {
            th { (t::MATERIAL) } th.num { (t::DOSE) " " (titles[0]) } th.num { (t::DOSE) " " (titles[1]) } th.num { (t::CHANGE) }
            th.num { (t::ACTIVE) " " (titles[0]) } th.num { (t::ACTIVE) " " (titles[1]) }
            th.num { (t::COST_PER_KG) " " (titles[0]) } th.num { (t::COST_PER_KG) " " (titles[1]) }
        }, &html! {
            @for id in &materials {
                tr {
                    td { (material_link(&catalogue, *id)) }
                    td.num { (dose(&a, *id)) }
                    td.num { (dose(&b, *id)) }
                    td.num { (dose_change(&a, &b, *id)) }
                    td.num { @if let Some(share) = active(&a, *id) { (share) } }
                    td.num { @if let Some(share) = active(&b, *id) { (share) } }
                    td.num { (money(&a, *id)) }
                    td.num { (money(&b, *id)) }
                }
            }
        }))
        h2 { (t::CAUTIONS) }
        div.pair {
            @for side in [&a, &b] {
                section.card {
                    h3 { (t::version(side.version.number)) }
                    @let materials = side.version.lines.iter().filter_map(|line| catalogue.materials.get(line.material));
                    (cautions(&engine::cautions(materials.map(AsRef::as_ref))))
                }
            }
        }
    };
    Ok(shown(StatusCode::OK, frame::page(&who, Place::Formulas, t::COMPARE, &body)))
}

fn dose_change(a: &Side<'_>, b: &Side<'_>, id: MaterialId) -> Markup {
    let share = |side: &Side<'_>| match side.shares.get(&id) {
        None => Some(Exact::ZERO),
        Some(share) => share.clone(),
    };
    match (share(a), share(b)) {
        (Some(before), Some(after)) if before == after => html! { span.quiet { "=" } },
        (Some(before), Some(after)) => {
            let change = (&after - &before) * Exact::whole(100);
            let sign = if change.is_positive() { "+" } else { "" };
            html! { span.fig { span.n { (sign) (fig::plain(&change, 3)) } "\u{202f}" span.unit { (t::POINTS) } } }
        }
        _ => fig::gap(),
    }
}
