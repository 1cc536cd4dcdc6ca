//! What stands around every page: the head, the way around the house, and where the reader is.

use maud::{DOCTYPE, Markup, html};

use crate::{
    access::{TOKEN_FIELD, Who},
    assets::{MARK_AT, SCRIPT_AT, STYLE_AT},
    figures::date,
    text as t,
};

/// The parts of the house that the way around leads to.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Place {
    /// What needs attention.
    Today,
    /// Stock.
    Shelf,
    /// Formulas.
    Formulas,
    /// Packs and costs.
    Packs,
    /// Can it be made.
    RunCheck,
    /// Batch tickets.
    Tickets,
    /// And if this changed.
    WhatIf,
    /// Tokens and about.
    Settings,
}

const PLACES: [(Place, &str, &str); 8] = [
    (Place::Today, "/", t::TODAY),
    (Place::Shelf, "/shelf", t::SHELF),
    (Place::Formulas, "/formulas", t::FORMULAS),
    (Place::Packs, "/packs", t::PACKS),
    (Place::RunCheck, "/run-check", t::RUN_CHECK),
    (Place::Tickets, "/tickets", t::TICKETS),
    (Place::WhatIf, "/what-if", t::WHAT_IF),
    (Place::Settings, "/settings", t::SETTINGS),
];

fn head(title: &str) -> Markup {
    html! {
        head {
            meta charset="utf-8";
            meta name="viewport" content="width=device-width, initial-scale=1";
            meta name="color-scheme" content="light dark";
            title { (title) " · " (t::HOUSE) }
            link rel="stylesheet" href=(*STYLE_AT);
            link rel="icon" type="image/svg+xml" href=(*MARK_AT);
            script src=(*SCRIPT_AT) defer {}
        }
    }
}

/// A page of the house.
pub(crate) fn page(who: &Who, here: Place, title: &str, body: &Markup) -> Markup {
    html! {
        (DOCTYPE)
        html lang="en" {
            (head(title))
            body {
                a.skip href="#main" { (t::SKIP) }
                header.house {
                    a.mark href="/" { img src=(*MARK_AT) alt="" width="28" height="28"; span { (t::HOUSE) } }
                    nav.ways aria-label=(t::WAYS) {
                        ul {
                            @for (place, href, label) in PLACES {
                                li { a href=(href) aria-current=[(place == here).then_some("page")] { (label) } }
                            }
                        }
                    }
                    form.find action="/find" method="get" role="search" {
                        label.unseen for="find" { (t::FIND_LABEL) }
                        input #find name="q" type="search" placeholder=(t::FIND_PLACEHOLDER) autocomplete="off"
                            spellcheck="false";
                        button.plain type="submit" { (t::FIND) }
                    }
                }
                aside.who aria-label=(t::WHO_AND_WHEN) {
                    span { (t::TODAY_IS) " " (date(who.today)) }
                    span.person { (who.actor.name) }
                    @if who.signed_in {
                        form action="/sign-out" method="post" {
                            input type="hidden" name=(TOKEN_FIELD) value=(who.page_token);
                            button.link type="submit" { (t::SIGN_OUT) }
                        }
                    }
                }
                main #main tabindex="-1" { (body) }
                div #waiting.notice.care role="status" hidden {
                    span.sign aria-hidden="true" { "▲" }
                    div { p { strong { (t::WAITING) } } ul {} }
                }
                p #offline.notice.bad role="alert" hidden { (t::OFFLINE) }
            }
        }
    }
}

/// A page without a person: signing in, and what went wrong.
pub(crate) fn bare(title: &str, body: &Markup) -> Markup {
    html! {
        (DOCTYPE)
        html lang="en" {
            (head(title))
            body.bare {
                a.skip href="#main" { (t::SKIP) }
                header.house {
                    a.mark href="/" { img src=(*MARK_AT) alt="" width="28" height="28"; span { (t::HOUSE) } }
                }
                main #main tabindex="-1" { (body) }
            }
        }
    }
}
