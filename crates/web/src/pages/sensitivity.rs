//! What a cost depends on: the size of the batch, the dose of one line, the basis of its prices. Each as a picture or a table over the
//! ordinary cost sheet.

use engine::{
    CostRequest, CostSheet, CostSubject, View,
    basis::Basis,
    cost::LineKind,
    sensitivity::{BatchQuestion, DoseLimitKind, DoseQuestion, DoseSweep, batch_curve, dose_sweep},
};
use kernel::Exact;
use maud::{Markup, html};

use crate::{
    Web,
    access::Who,
    chart::{self, Limit, Point},
    fields::Fields,
    figures as fig,
    respond::PageError,
    text as t,
    ui::{self, Tone},
};

/// Points of a sweep: enough for a line that is looked at.
const DOSES: u32 = 13;

/// Cost against batch size, as a line.
pub fn batches(view: &View<'_>, request: &CostRequest) -> Markup {
    let question = BatchQuestion { of: *request, batches: Vec::new(), target: None };
    let Ok(curve) = batch_curve(view, &question) else { return html! {} };
    let filled = curve.points.iter().any(|point| point.cost_per_unit.is_some());
    let points: Vec<Point> = curve
        .points
        .iter()
        .map(|point| Point {
            at: point.batch.to_exact(),
            value: if filled { point.cost_per_unit.clone() } else { point.cost_per_kg.clone() },
            is_current: point.is_usual,
        })
        .collect();
    chart::curve(t::AGAINST_BATCH, ("kg", curve.currency.code()), &points, &[])
}

/// Cost against the dose of one line: the one asked for, else the dearest.
pub fn doses(view: &View<'_>, request: &CostRequest, sheet: &CostSheet, fields: &Fields, at: &str) -> Markup {
    let lines: Vec<(u32, String)> = sheet
        .lines
        .iter()
        .filter(|line| line.kind == LineKind::Ingredient)
        .filter_map(|line| {
            Some((line.position?, line.material.as_ref().map(ToString::to_string).unwrap_or_default()))
        })
        .collect();
    let asked = fields.first("dose").parse::<u32>().ok();
    let dearest = sheet
        .lines
        .iter()
        .filter(|line| line.kind == LineKind::Ingredient)
        .max_by(|a, b| a.value.cmp(&b.value))
        .and_then(|line| line.position);
    let Some(line) = asked.or(dearest) else { return html! {} };
    let request = CostRequest {
        // The version on the page, whatever is approved.
        subject: match request.subject {
            CostSubject::Pack { pack, .. } => {
                CostSubject::Pack { pack, version: Some(sheet.subject.version) }
            }
            version @ CostSubject::Version(_) => version,
        },
        ..*request
    };
    let question = DoseQuestion { of: request, line, against: None, range: None, points: Some(DOSES) };
    let options: Vec<(String, String)> =
        lines.iter().map(|(position, name)| (position.to_string(), name.clone())).collect();
    html! {
        h2 #doses { (t::DOSE_SWEEP) }
        p.quiet { (t::DOSE_SWEEP_HELP) }
        form.inline method="get" action={ (at) "#doses" } {
            @for name in ["as_of", "batch", "version"] {
                @if !fields.first(name).is_empty() { input type="hidden" name=(name) value=(fields.first(name)); }
            }
            (ui::select("doses", "dose", t::DOSE_OF_LINE, &line.to_string(), &options))
            button.plain type="submit" { (t::WORK_OUT) }
        }
        @match dose_sweep(view, &question) {
            Ok(sweep) => { (swept(&sweep)) }
            Err(error) => { (ui::notice(Tone::Calm, &html! { p { (t::NO_SWEEP) " " (t::sentence(&error.to_string())) } })) }
        }
    }
}

fn swept(sweep: &DoseSweep) -> Markup {
    let currency = sweep.currency.code();
    let filled = sweep.points.iter().any(|point| point.cost_per_unit.is_some());
    let hundred = Exact::whole(100);
    let points: Vec<Point> = sweep
        .points
        .iter()
        .map(|point| Point {
            at: &point.dose * &hundred,
            value: if filled { point.cost_per_unit.clone() } else { Some(point.cost_per_kg.clone()) },
            is_current: point.is_current,
        })
        .collect();
    let limits: Vec<Limit> = sweep
        .limits
        .iter()
        .map(|limit| Limit {
            at: &limit.dose * &hundred,
            label: match limit.kind {
                DoseLimitKind::LeastOfMaterial | DoseLimitKind::LeastOfLine => t::LEAST_LEVEL.to_owned(),
                DoseLimitKind::MostOfLine | DoseLimitKind::MostOfMaterial => t::MOST_LEVEL.to_owned(),
                DoseLimitKind::EndOfDiluent => t::END_OF_DILUENT.to_owned(),
            },
        })
        .collect();
    html! {
        (chart::curve(t::DOSE_SWEEP, ("% w/w", currency), &points, &limits))
        @if let Some(more) = &sweep.per_tenth_percent { p { (t::PER_TENTH) " " (fig::signed_money(more, sweep.currency, 5)) "." } }
        (ui::fold(t::TABLE_BEHIND, false, &ui::table(t::DOSE_SWEEP, &html! {
            th.num { (t::DOSE_WORD) } th.num { (sweep.diluent.code) } th.num { (t::PER_KG) } th.num { (t::PER_UNIT) } th.num { (t::MARGIN) } th { (t::USE_LEVEL) }
        }, &html! {
            @for point in &sweep.points {
                tr {
                    td.num { (fig::fraction(&point.dose, 3)) @if point.is_current { " " (ui::badge(Tone::Calm, t::NOW)) } }
                    td.num { (fig::fraction(&point.diluent, 3)) }
                    td.num { (fig::exact(&point.cost_per_kg, 4, currency)) @if !point.complete { " " (fig::gap()) } }
                    td.num { @if let Some(cost) = &point.cost_per_unit { (fig::exact(cost, 4, currency)) } }
                    td.num { @if let Some(margin) = &point.margin { (fig::fraction(margin, 1)) } }
                    td { @for broken in &point.breaks { (ui::badge(if point.breaks_legal { Tone::Bad } else { Tone::Care }, t::USE_LEVEL)) " " span.quiet { (t::sentence(broken)) } " " } }
                }
            }
        })))
    }
}

/// The same sheet on every basis, side by side.
pub async fn bases(web: &Web, who: &Who, request: &CostRequest) -> Result<Markup, PageError> {
    let on = match web.app.cost_on_bases(&who.actor, request, &Basis::ALL).await {
        Ok(on) => on,
        // The page says above why there is no cost.
        Err(app::Error::Invalid(_)) => return Ok(html! {}),
        Err(error) => return Err(error.into()),
    };
    let Some(currency) = on.sheets.first().map(|sheet| sheet.currency.code()) else { return Ok(html! {}) };
    Ok(html! {
        h2 { (t::BASES) }
        p.quiet { (t::BASES_HELP) }
        (ui::table(t::BASES, &html! {
            th { (t::BASIS) } th.num { (t::PER_KG) } th.num { (t::PER_UNIT) } th.num { (t::PER_BATCH) } th { (t::STATE) }
        }, &html! {
            @for sheet in &on.sheets {
                tr {
                    td { (t::sentence(sheet.basis.words())) br; span.quiet { (t::sentence(sheet.basis.description())) } }
                    td.num { (fig::exact(&sheet.totals.per_kg, 4, currency)) }
                    td.num { (fig::exact_or_gap(sheet.totals.per_unit.as_ref(), 4, currency)) }
                    td.num { (fig::exact(&sheet.totals.per_batch, 2, currency)) }
                    td { @if sheet.complete { (ui::badge(Tone::Good, t::COMPLETE)) } @else { (ui::badge(Tone::Care, &t::gaps(sheet.gaps.len()))) } }
                }
            }
        }))
        (ui::fold(t::BASES_LINES, false, &ui::table(t::BASES_LINES, &html! {
            th { (t::LINE) } @for sheet in &on.sheets { th.num { (t::sentence(sheet.basis.words())) } }
        }, &html! {
            @for line in &on.lines {
                tr {
                    td {
                        @match &line.material {
                            Some(material) => { (super::material_ref(material)) }
                            None => { (t::sentence(line.kind.words())) }
                        }
                    }
                    @for cell in &line.cells {
                        td.num title=(cell.source.to_string()) { (fig::exact_or_gap(cell.value.as_ref(), 2, currency)) @if cell.partial && cell.value.is_some() { " " (fig::gap()) } }
                    }
                }
            }
        })))
    })
}
