//! Settings: API tokens, and what this house is.

use std::collections::BTreeSet;

use app::{IssuedToken, TokenIssue};
use axum::{extract::State, http::StatusCode};
use chrono::{NaiveTime, TimeZone as _, Utc};
use domain::people::Capability;
use kernel::ids::TokenId;
use maud::{Markup, html};

use crate::{
    Web,
    access::{Answer, Sent, TOKEN_FIELD, Who},
    fields::Reader,
    figures as fig,
    frame::{self, Place},
    respond::{go, shown},
    text as t,
    ui::{self, Field, Kept, Tone},
};

const FORM: &str = "token";

/// Tokens and about.
pub async fn page(State(web): State<Web>, who: Who) -> Answer {
    shown_settings(&web, &who, &Kept::default(), None).await
}

async fn shown_settings(web: &Web, who: &Who, kept: &Kept, issued: Option<&IssuedToken>) -> Answer {
    let catalogue = web.app.catalogue(&who.actor)?;
    let settings = web.app.settings();
    let body = html! {
        h1 { (t::SETTINGS) }
        @if who.may(Capability::Administer) { (tokens(web, who, kept, issued).await?) }
        @else { (ui::notice(Tone::Calm, &html! { p { (t::TOKENS_NOT_YOURS) } })) }
        ul.lines {
            li { a href="/rates" { (t::RATES) } }
            @if who.may(Capability::Administer) { li { a href="/import" { (t::IMPORT) } } }
        }
        h2 { (t::ABOUT) }
        dl.facts {
            (ui::fact(t::VERSION, &html! { (env!("CARGO_PKG_VERSION")) }))
            (ui::fact(t::CURRENCY, &html! { (settings.currency.code()) }))
            (ui::fact(t::TIME_ZONE, &html! { (settings.time_zone.name()) }))
            (ui::fact(t::CATALOGUE_VERSION, &html! { (catalogue.version) }))
            (ui::fact(t::YOU_MAY, &html! { (capabilities(&who.actor.capabilities)) }))
        }
        ul.lines {
            li { a href="/explorer" { (t::API_EXPLORER) } }
            li { a href="/schema.graphql" { (t::API_SCHEMA) } }
        }
    };
    let status = if kept.is(FORM) { kept.status() } else { StatusCode::OK };
    Ok(shown(status, frame::page(who, Place::Settings, t::SETTINGS, &body)))
}

fn capabilities(of: &BTreeSet<Capability>) -> String {
    of.iter().map(|capability| capability.name()).collect::<Vec<_>>().join(", ")
}

async fn tokens(
    web: &Web,
    who: &Who,
    kept: &Kept,
    issued: Option<&IssuedToken>,
) -> Result<Markup, crate::respond::PageError> {
    let tokens = web.app.tokens(&who.actor).await?;
    let now = web.app.now();
    Ok(html! {
        h2 { (t::TOKENS) }
        p.quiet { (t::TOKENS_LEAD) }
        @if let Some(issued) = issued {
            (ui::notice(Tone::Good, &html! {
                p { strong { (t::token_issued(&issued.token.name)) } }
                p.secret { code { (issued.secret) } }
                p { (t::TOKEN_ONCE) }
            }))
        }
        @if tokens.is_empty() { (ui::nothing(t::TOKENS_NONE)) } @else {
            (ui::table(t::TOKENS, &html! { th { (t::NAME) } th { (t::MAY) } th { (t::ISSUED) } th { (t::EXPIRES) } th { (t::STATE) } td {} }, &html! {
                @for token in &tokens {
                    @let works = token.revoked_at.is_none() && token.expires_at.is_none_or(|at| at > now);
                    tr {
                        td { (token.name) }
                        td { (capabilities(&token.capabilities)) }
                        td { (fig::date(token.created_at.date_naive())) " " span.quiet { (token.created_by) } }
                        td { (fig::date_or_dash(token.expires_at.map(|at| at.date_naive()))) }
                        td { @if works { (ui::badge(Tone::Good, t::WORKS)) } @else { (ui::badge(Tone::Calm, t::ENDED)) } }
                        td {
                            @if works {
                                form method="post" action="/settings/tokens/revoke" {
                                    input type="hidden" name=(TOKEN_FIELD) value=(who.page_token);
                                    input type="hidden" name="token" value=(token.id);
                                    button.plain type="submit" aria-label={ (t::REVOKE) " " (token.name) } { (t::REVOKE) }
                                }
                            }
                        }
                    }
                }
            }))
        }
        h3 { (t::NEW_TOKEN) }
        (kept.notice(FORM))
        form.stack method="post" action="/settings/tokens" {
            (ui::form_keys(who, kept, FORM))
            (Field::text(FORM, "name", t::NAME).hint(t::TOKEN_NAME_HINT).needed().show(kept))
            fieldset.choices {
                legend { (t::MAY) }
                @for capability in Capability::ALL {
                    label { input type="checkbox" name="may" value=(capability.name()) checked[capability == Capability::Look]; " " (t::capability(capability)) }
                }
            }
            (Field::date(FORM, "expiresAt", t::LAST_DAY_OF_TOKEN).show(kept))
            button type="submit" { (t::ISSUE) }
        }
    })
}

/// Issues a token and shows its secret, this once.
pub async fn token_issue(State(web): State<Web>, sent: Sent) -> Answer {
    let mut reader = Reader::new(&sent.fields);
    let may: BTreeSet<Capability> = sent.fields.all("may").filter_map(Capability::parse).collect();
    let expires_at = reader.date("expiresAt").and_then(|day| day.succ_opt()).and_then(|next| {
        let midnight = next.and_time(NaiveTime::MIN);
        web.app.settings().time_zone.from_local_datetime(&midnight).latest().map(|at| at.with_timezone(&Utc))
    });
    let problems = reader.problems;
    let result = if problems.is_empty() {
        let input = TokenIssue { name: sent.fields.first("name").to_owned(), may, expires_at };
        web.app.token_issue(&sent.who.actor, input).await
    } else {
        Err(app::Error::Invalid(problems))
    };
    match result {
        Ok(issued) => shown_settings(&web, &sent.who, &Kept::default(), Some(&issued)).await,
        Err(error) => shown_settings(&web, &sent.who, &Kept::after(FORM, sent.fields, error)?, None).await,
    }
}

/// Ends a token.
pub async fn token_revoke(State(web): State<Web>, sent: Sent) -> Answer {
    let text = sent.fields.first("token");
    let id =
        uuid::Uuid::parse_str(text).map(TokenId::from).map_err(|_| app::Error::not_found("token", text))?;
    web.app.token_revoke(&sent.who.actor, id).await?;
    Ok(go("/settings"))
}
