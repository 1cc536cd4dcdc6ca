//! Exchange rates and rates of the house: what holds today, what held before, and a new one.

use app::{
    HouseRateRecord,
    import::{ImportOptions, ImportSet, RateDraft},
};
use axum::extract::State;
use chrono::NaiveDate;
use domain::{
    Catalogue,
    house_rates::{HouseRate, HouseRateAmount, HouseRateOf},
    people::Capability,
    quotations::ExchangeRate,
};
use kernel::{Currency, Rate, UnitPrice};
use maud::{Markup, html};

use crate::{
    Web,
    access::{Answer, Sent, Who},
    fields::Reader,
    figures as fig,
    frame::{self, Place},
    respond::{go, shown},
    text as t,
    ui::{self, Field, Kept, Tone},
};

const EXCHANGE: &str = "rate";
const HOUSE: &str = "house";

/// All rates.
pub async fn page(State(web): State<Web>, who: Who) -> Answer {
    shown_rates(&web, &who, &Kept::default())
}

fn shown_rates(web: &Web, who: &Who, kept: &Kept) -> Answer {
    let catalogue = web.app.catalogue(&who.actor)?;
    let body = html! {
        p.crumb { a href="/settings" { (t::SETTINGS) } }
        h1 { (t::RATES) }
        p.lead { (t::RATES_LEAD) }
        h2 { (t::EXCHANGE_RATES) }
        (exchange_table(&catalogue, who.today))
        @if who.may(Capability::Administer) { (exchange_form(who, &catalogue, kept)) }
        h2 { (t::HOUSE_RATES) }
        (house_table(&catalogue, who.today))
        @if who.may(Capability::Administer) { (house_form(who, &catalogue, kept)) }
    };
    Ok(shown(kept.status(), frame::page(who, Place::Settings, t::RATES, &body)))
}

fn exchange_table(catalogue: &Catalogue, today: NaiveDate) -> Markup {
    let mut rates: Vec<&ExchangeRate> = catalogue.rates().collect();
    if rates.is_empty() {
        return ui::nothing(t::RATES_NONE);
    }
    rates.sort_by_key(|rate| (rate.from, rate.to, std::cmp::Reverse(rate.date)));
    let holds = |rate: &ExchangeRate| {
        catalogue.rate_on(rate.from, rate.to, today).is_some_and(|now| now.id == rate.id)
    };
    let row = |rate: &ExchangeRate| {
        html! {
            tr {
                td { "1 " (rate.from.code()) }
                td.num { (fig::decimal(rate.rate.decimal(), rate.to.code())) }
                td { (fig::date(rate.date)) }
                td { (rate.source) }
                td { @if holds(rate) { (ui::badge(Tone::Good, t::HOLDS)) } @else if rate.date > today { (ui::badge(Tone::Calm, t::TO_COME)) } }
            }
        }
    };
    let head = html! { th { (t::CURRENCY) } th.num { (t::RATE) } th { (t::RATE_DAY) } th { (t::RATE_SOURCE) } th { (t::STATE) } };
    let (now, before): (Vec<&ExchangeRate>, Vec<&ExchangeRate>) =
        rates.into_iter().partition(|rate| holds(rate) || rate.date > today);
    html! {
        (ui::table(t::EXCHANGE_RATES, &head, &html! { @for rate in now { (row(rate)) } }))
        @if !before.is_empty() {
            (ui::fold(t::RATE_HISTORY, false, &ui::table(t::RATE_HISTORY, &head, &html! { @for rate in before { (row(rate)) } })))
        }
    }
}

fn exchange_form(who: &Who, catalogue: &Catalogue, kept: &Kept) -> Markup {
    html! {
        (kept.notice(EXCHANGE))
        form.inline method="post" action="/rates/exchange" {
            (ui::form_keys(who, kept, EXCHANGE))
            (Field::text(EXCHANGE, "from", t::RATE_FROM_CURRENCY).hint("EUR").needed().show(kept))
            (Field::amount(EXCHANGE, "figure", t::RATE_FIGURE).needed().show(kept))
            (Field::text(EXCHANGE, "to", t::RATE_TO_CURRENCY).start(catalogue.settings.currency.code()).needed().show(kept))
            (Field::date(EXCHANGE, "date", t::RATE_DAY).start(&who.today.to_string()).needed().show(kept))
            (Field::text(EXCHANGE, "source", t::RATE_SOURCE).hint(t::RATE_SOURCE_HINT).needed().show(kept))
            button type="submit" { (t::RATE_ENTER) }
        }
    }
}

fn house_table(catalogue: &Catalogue, today: NaiveDate) -> Markup {
    let mut rates: Vec<&HouseRate> = catalogue.house_rates().collect();
    if rates.is_empty() {
        return ui::nothing(t::HOUSE_RATES_NONE);
    }
    rates.sort_by_key(|rate| (domain::text::code_key(&rate.name), std::cmp::Reverse(rate.from)));
    let currency = catalogue.settings.currency.code();
    ui::table(
        t::HOUSE_RATES,
        &html! { th { (t::HOUSE_RATE_NAME) } th { (t::HOUSE_RATE_OF) } th.num { (t::HOUSE_RATE_AMOUNT) } th { (t::RATE_DAY) } th { (t::REMARKS) } th { (t::STATE) } },
        &html! {
            @for rate in rates {
                @let holds = catalogue.house_rate_on(&rate.name, today).is_some_and(|now| now.id == rate.id);
                tr {
                    td { (rate.name) }
                    td { (rate.of.kind_word()) ", " (t::PER) " " (rate.of.per_words()) }
                    td.num { (house_amount(rate, currency)) }
                    td { (fig::date(rate.from)) }
                    td { (rate.note.as_deref().unwrap_or("")) }
                    td { @if holds { (ui::badge(Tone::Good, t::HOLDS)) } @else if rate.from > today { (ui::badge(Tone::Calm, t::TO_COME)) } }
                }
            }
        },
    )
}

fn house_amount(rate: &HouseRate, currency: &str) -> Markup {
    match (&rate.amount, rate.rate()) {
        (HouseRateAmount::Percent(percent), _) => fig::percent(*percent),
        (_, Ok(figure)) if rate.of == HouseRateOf::OverheadOnLabour => fig::fraction(&figure, 2),
        (_, figure) => fig::exact_or_gap(figure.ok().as_ref(), 2, currency),
    }
}

const fn code_of(of: HouseRateOf) -> &'static str {
    match of {
        HouseRateOf::LabourHour => "labour-hour",
        HouseRateOf::MachineHour => "machine-hour",
        HouseRateOf::OverheadPerLabourHour => "overhead-per-labour-hour",
        HouseRateOf::OverheadPerMachineHour => "overhead-per-machine-hour",
        HouseRateOf::OverheadPerBatch => "overhead-per-batch",
        HouseRateOf::OverheadOnLabour => "overhead-on-labour",
    }
}

fn house_form(who: &Who, catalogue: &Catalogue, kept: &Kept) -> Markup {
    let options = HouseRateOf::ALL
        .map(|of| (code_of(of).to_owned(), format!("{}, {} {}", of.kind_word(), t::PER, of.per_words())));
    let chosen = kept.value(HOUSE, "of", "labour-hour");
    let mut names: Vec<&str> = catalogue.house_rates().map(|rate| rate.name.as_str()).collect();
    names.dedup();
    html! {
        (kept.notice(HOUSE))
        form.inline method="post" action="/rates/house" {
            (ui::form_keys(who, kept, HOUSE))
            (Field::text(HOUSE, "name", t::HOUSE_RATE_NAME).list("house-rate-names").needed().show(kept))
            (ui::select(HOUSE, "of", t::HOUSE_RATE_OF, &chosen, &options))
            (Field::amount(HOUSE, "figure", t::HOUSE_RATE_AMOUNT).hint(t::HOUSE_RATE_AMOUNT_HINT).needed().show(kept))
            (Field::date(HOUSE, "date", t::RATE_DAY).start(&who.today.to_string()).needed().show(kept))
            (Field::text(HOUSE, "note", t::REMARKS).show(kept))
            button type="submit" { (t::HOUSE_RATE_ENTER) }
        }
        (ui::suggestions("house-rate-names", names.into_iter().map(|name| (name, ""))))
    }
}

/// Enters an exchange rate.
pub async fn exchange(State(web): State<Web>, sent: Sent) -> Answer {
    let mut reader = Reader::new(&sent.fields);
    let from = reader.take("from", sent.fields.first("from").to_uppercase().parse::<Currency>());
    let to = reader.take("to", sent.fields.first("to").to_uppercase().parse::<Currency>());
    let figure = reader.figure("figure");
    let figure = reader.needed("figure", figure);
    let rate = figure.and_then(|figure| reader.take("figure", Rate::new(figure)));
    let date = reader.date("date");
    let date = reader.needed("date", date);
    let source = reader.needed("source", sent.fields.text("source"));
    if from.is_some() && from == to {
        reader.wrong("to", t::RATE_SAME);
    }
    let result = match (from.zip(to), rate.zip(date), source, reader.problems.is_empty()) {
        (Some((from, to)), Some((rate, date)), Some(source), true) => {
            let draft =
                RateDraft { place: app::import::Place::new(t::RATES, 1), from, to, rate, date, source };
            let set = ImportSet { rates: vec![draft], ..ImportSet::default() };
            web.app.import_apply(&sent.change(), &set, ImportOptions::default()).await.map(|_| ())
        }
        _ => Err(app::Error::Invalid(reader.problems)),
    };
    match result {
        Ok(()) => Ok(go("/rates")),
        Err(error) => shown_rates(&web, &sent.who, &Kept::after(EXCHANGE, sent.fields.clone(), error)?),
    }
}

/// Enters a rate of the house.
pub async fn house(State(web): State<Web>, sent: Sent) -> Answer {
    let mut reader = Reader::new(&sent.fields);
    let of = HouseRateOf::ALL.into_iter().find(|of| code_of(*of) == sent.fields.first("of"));
    let of = reader.needed("of", of);
    let date = reader.date("date");
    let date = reader.needed("date", date);
    let currency = web.app.settings().currency;
    let amount = if of == Some(HouseRateOf::OverheadOnLabour) {
        reader.percent("figure").map(HouseRateAmount::Percent)
    } else {
        let figure = reader.figure("figure");
        figure
            .and_then(|figure| reader.take("figure", UnitPrice::from_decimal(figure, currency)))
            .map(HouseRateAmount::Stated)
    };
    let amount = reader.needed("figure", amount);
    let result = match (of, amount, date, reader.problems.is_empty()) {
        (Some(of), Some(amount), Some(from), true) => {
            let (name, note) = (sent.fields.first("name").to_owned(), sent.fields.text("note"));
            let record = HouseRateRecord { name, of, amount, from, note };
            web.app.house_rate_record(&sent.change(), record).await.map(|_| ())
        }
        _ => Err(app::Error::Invalid(reader.problems)),
    };
    match result {
        Ok(()) => Ok(go("/rates")),
        Err(error) => shown_rates(&web, &sent.who, &Kept::after(HOUSE, sent.fields.clone(), error)?),
    }
}
