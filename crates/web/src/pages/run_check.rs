//! Run check: can this run be made on this day, from which lots, what is short, what to buy, how much at most.

use axum::{extract::State, http::StatusCode};
use chrono::Days;
use domain::{Catalogue, people::Capability};
use engine::{CostSubject, RunAmount, RunCheck, RunRequest, Verdict, run_check::MaterialCheck};
use kernel::Mass;
use maud::{Markup, html};

use crate::{
    Web,
    access::{Answer, Asked, Who},
    fields::{Fields, Reader},
    figures as fig,
    frame::{self, Place},
    links,
    pages::{cautions, material_link, material_ref, purchase, take},
    respond::shown,
    text as t,
    ui::{self, Field, Kept, Tone},
};

const FORM: &str = "check";

/// The question, and the answer when it was asked.
pub async fn page(State(web): State<Web>, who: Who, Asked(fields): Asked) -> Answer {
    let catalogue = web.app.catalogue(&who.actor)?;
    let asked = fields.has("pack") && (fields.text("units").is_some() || fields.text("batch").is_some());
    let mut kept = Kept::default();
    let mut answer = None;
    if asked {
        let result = match request(&catalogue, &fields, &who) {
            Ok(request) => web.app.run_check(&who.actor, &request).await,
            Err(error) => Err(error),
        };
        match result {
            Ok(check) => answer = Some(check),
            Err(error) => kept = Kept::after(FORM, fields.clone(), error)?,
        }
    }
    let body = html! {
        h1 { (t::RUN_CHECK) }
        p.lead { (t::RUN_CHECK_LEAD) }
        (kept.notice(FORM))
        (form(&catalogue, &fields, &kept, &who))
        @if let Some(check) = &answer { (card(&catalogue, &who, &fields, check)) }
    };
    let status = if kept.is(FORM) { kept.status() } else { StatusCode::OK };
    Ok(shown(status, frame::page(&who, Place::RunCheck, t::RUN_CHECK, &body)))
}

fn form(catalogue: &Catalogue, fields: &Fields, kept: &Kept, who: &Who) -> Markup {
    let first_pack = catalogue.packs.iter().next().map_or("", |pack| pack.code.as_str());
    let pack = fields.text("pack").unwrap_or_else(|| first_pack.to_owned());
    let on = fields
        .text("on")
        .unwrap_or_else(|| who.today.checked_add_days(Days::new(1)).unwrap_or(who.today).to_string());
    html! {
        form.inline method="get" action="/run-check" {
            (Field::text(FORM, "pack", t::PACK_OR_FORMULA).start(&pack).list("packs").needed().focus(fields.0.is_empty()).show(kept))
            (Field::amount(FORM, "units", t::UNITS).start(fields.first("units")).hint(t::UNITS_HINT).show(kept))
            (Field::amount(FORM, "batch", t::OR_BATCH).start(fields.first("batch")).hint(t::BATCH_SIZE_HINT).show(kept))
            (Field::date(FORM, "on", t::ON_DAY).start(&on).needed().show(kept))
            button type="submit" { (t::CHECK) }
        }
        (ui::suggestions("packs", catalogue.packs.iter().map(|p| (p.code.as_str(), p.name.as_str()))
            .chain(catalogue.formulas.iter().map(|f| (f.code.as_str(), f.name.as_str())))))
    }
}

fn request(catalogue: &Catalogue, fields: &Fields, who: &Who) -> Result<RunRequest, app::Error> {
    let mut reader = Reader::new(fields);
    let code = fields.first("pack");
    let on = reader.date("on").unwrap_or(who.today);
    let subject = match (catalogue.packs.by_code(code), catalogue.formulas.by_code(code)) {
        (Some(pack), _) => Some(CostSubject::Pack { pack: pack.id, version: None }),
        (None, Some(formula)) => match formula.approved_on(on) {
            Some(version) => Some(CostSubject::Version(version.id)),
            None => {
                reader.wrong("pack", t::no_approved(&formula.code));
                None
            }
        },
        (None, None) => {
            reader.wrong("pack", t::no_such("pack or formula", code));
            None
        }
    };
    let amount = match reader.mass("batch") {
        Some(batch) => Some(RunAmount::Batch(batch)),
        None => {
            fields.text("units").and_then(|units| reader.take("units", units.parse()).map(RunAmount::Units))
        }
    };
    match (subject, amount, reader.problems.is_empty()) {
        (Some(subject), Some(amount), true) => {
            Ok(RunRequest { subject, amount, on, today: who.today, ticket: None })
        }
        _ => Err(app::Error::Invalid(reader.problems)),
    }
}

fn tone(verdict: Verdict) -> Tone {
    match verdict {
        Verdict::CanBeMade => Tone::Good,
        Verdict::MakeFirst | Verdict::NotKnown => Tone::Care,
        Verdict::Short => Tone::Bad,
    }
}

fn card(catalogue: &Catalogue, who: &Who, fields: &Fields, check: &RunCheck) -> Markup {
    let short: Vec<&MaterialCheck> = check.materials.iter().filter(|m| m.verdict == Verdict::Short).collect();
    html! {
        section class={ "verdict " (tone(check.verdict).class()) } aria-labelledby="verdict" {
            h2 #verdict { (t::verdict(check.verdict)) }
            p {
                (t::run_of(check.units, check.units_for_sale)) " "
                @if let Some(batch) = check.batch { (fig::exact(&batch.to_exact(), 1, "kg")) " " (t::CHARGED_IN_ALL) ", " }
                (fig::date(check.on))
            }
            @if !short.is_empty() {
                ul {
                    @for material in &short {
                        li {
                            strong { (fig::quantity(material.short_by)) " " (t::OF) " " (material_ref(&material.material)) " " (t::IS_SHORT) }
                            @for used in material.uses.iter().filter(|used| !used.behind.is_empty()) {
                                br; span.quiet { (t::BEHIND) " " (used.behind.iter().map(|m| m.code.as_str()).collect::<Vec<_>>().join(" › ")) }
                            }
                            @if let Some(buy) = &material.buy { br; (t::BUY) " " (purchase(buy)) }
                        }
                    }
                }
            }
            @for step in &check.make_first {
                p { (t::MAKE_FIRST) " " strong { (fig::exact(&step.make.to_exact(), 3, "kg")) } " " (t::OF) " " (material_ref(&step.material))
                    " " span.quiet { "(" (t::CHARGE) " " (fig::exact(&step.charge.to_exact(), 3, "kg")) ")" }
                    @if !step.short.is_empty() { " " (ui::badge(Tone::Bad, t::SHORT_TOO)) } }
            }
            p {
                (t::AT_MOST_NOW) " "
                @match (check.most.units, check.most.batch) {
                    (_, Some(batch)) if batch.is_zero() => { strong { (t::NOTHING) } }
                    (Some(units), Some(batch)) => { strong { (units) " " (t::UNITS_WORD) } " (" (fig::exact(&mass_down(batch), 1, "kg")) ")" }
                    (None, Some(batch)) => { strong { (fig::exact(&mass_down(batch), 1, "kg")) } }
                    _ => { (t::NOTHING_LIMITS) }
                }
                @if !check.most.limited_by.is_empty() {
                    "; " (t::LIMITED_BY) " "
                    @for (at, material) in check.most.limited_by.iter().enumerate() { @if at > 0 { ", " } (material_ref(material)) }
                }
            }
            @if !check.gaps.is_empty() { ul { @for gap in &check.gaps { li { (fig::gap()) " " (t::sentence(&gap.to_string())) } } } }
            @if !check.notes.is_empty() { ul.quiet { @for note in &check.notes { li { (t::sentence(&note.to_string())) } } } }
        }
        (write_form(who, fields, check))
        h2 { (t::LOTS_AND_AMOUNTS) }
        (materials(check))
        @if !check.earlier.is_empty() {
            h2 { (t::EARLIER_RUNS) }
            ul.lines {
                @for run in &check.earlier {
                    li {
                        @if let engine::planned::RunRef::Ticket { number, .. } = &run.run { a.code href=(links::ticket(number)) { (number) } " " }
                        (catalogue.formulas.get(run.formula).map_or(t::GONE, |formula| formula.name.as_str())) ", " (fig::date(run.on))
                        @if run.is_short() {
                            " " (ui::badge(Tone::Bad, t::SHORT))
                            @for shortage in &run.shortages { " " (fig::quantity(shortage.short_by)) " " (t::OF) " " (material_link(catalogue, shortage.material)) }
                        }
                    }
                }
            }
        }
        h2 { (t::CAUTIONS) }
        (cautions(&check.cautions))
    }
}

/// Rounded down: more than this is short.
fn mass_down(mass: Mass) -> kernel::Exact {
    let grams = mass.micrograms() / 100_000_000;
    kernel::Exact::scaled(i128::from(grams), 1)
}

fn write_form(who: &Who, fields: &Fields, check: &RunCheck) -> Markup {
    if !who.may(Capability::PlanAndMake) || check.batch.is_none() {
        return html! {};
    }
    html! {
        form.inline method="post" action="/tickets" {
            (ui::form_keys(who, &Kept::default(), FORM))
            @for name in ["pack", "units", "batch"] { input type="hidden" name=(name) value=(fields.first(name)); }
            input type="hidden" name="on" value=(check.on);
            button type="submit" { (t::WRITE_TICKET) }
        }
        @if check.verdict != Verdict::CanBeMade { p.hint { (t::WRITE_TICKET_SHORT) } }
    }
}

fn materials(check: &RunCheck) -> Markup {
    ui::table(
        t::LOTS_AND_AMOUNTS,
        &html! {
            th { (t::MATERIAL) } th.num { (t::NEEDED) } th.num { (t::USABLE) } th.num { (t::TAKEN_BY_EARLIER) } th { (t::FROM_LOTS) } th { (t::STATE) }
        },
        &html! {
            @for material in &check.materials {
                tr {
                    td { (material_ref(&material.material)) }
                    td.num { (fig::quantity(material.needed)) }
                    td.num { @if material.stocked { (fig::quantity(material.usable)) } @else { span.quiet { (t::NOT_STOCKED) } } }
                    td.num { @if material.taken_by_earlier.is_positive() { (fig::quantity(material.taken_by_earlier)) } @else { span.quiet { "–" } } }
                    td {
                        ul.plain { @for taken in &material.takes { li { (take(taken)) } } }
                        @let barred: Vec<_> = material.lots.iter().filter(|lot| !lot.because.is_empty() && lot.on_hand.is_positive()).collect();
                        @if !barred.is_empty() {
                            (ui::fold(&t::lots_barred(barred.len()), false, &html! {
                                ul.plain { @for lot in &barred { li { a.code href=(links::lot(&lot.number)) { (lot.number) } " " (ui::unusable(&lot.because)) } } }
                            }))
                        }
                    }
                    td {
                        (ui::badge(tone(material.verdict), t::material_verdict(material.verdict)))
                        @if material.short_by.is_positive() { " " (fig::quantity(material.short_by)) }
                    }
                }
            }
        },
    )
}
