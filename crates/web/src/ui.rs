//! The parts pages are made of: badges, notices, forms that keep what was typed, facts in pairs.

use app::Error;
use axum::http::StatusCode;
use domain::{
    Problem,
    lots::{LotStatus, Unusable},
    tickets::TicketStatus,
};
use maud::{Markup, html};
use uuid::Uuid;

use crate::{
    access::{KEY_FIELD, TOKEN_FIELD, Who},
    fields::Fields,
    respond::PageError,
    text as t,
};

/// What a badge or notice says by its colour; its words and its sign say the same.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Tone {
    /// All is well.
    Good,
    /// Worth a look.
    Care,
    /// Something is wrong.
    Bad,
    /// Neither.
    Calm,
}

impl Tone {
    /// The class of the style sheet.
    pub const fn class(self) -> &'static str {
        match self {
            Self::Good => "good",
            Self::Care => "care",
            Self::Bad => "bad",
            Self::Calm => "calm",
        }
    }

    const fn sign(self) -> &'static str {
        match self {
            Self::Good => "✓",
            Self::Care => "▲",
            Self::Bad => "✕",
            Self::Calm => "•",
        }
    }
}

/// A state in a word or two.
pub(crate) fn badge(tone: Tone, words: &str) -> Markup {
    html! { span class={ "badge " (tone.class()) } { span aria-hidden="true" { (tone.sign()) } " " (words) } }
}

/// A lot's status.
pub(crate) fn lot_status(status: LotStatus) -> Markup {
    let tone = match status {
        LotStatus::Released => Tone::Good,
        LotStatus::Quarantine => Tone::Calm,
        LotStatus::OnHold => Tone::Care,
        LotStatus::Rejected => Tone::Bad,
    };
    badge(tone, status.words())
}

/// Everything that stands against using a lot.
pub(crate) fn unusable(because: &[Unusable]) -> Markup {
    html! {
        @for reason in because {
            @let tone = match reason {
                Unusable::Rejected | Unusable::Expired { .. } => Tone::Bad,
                Unusable::Quarantine | Unusable::NotYetReceived { .. } => Tone::Calm,
                _ => Tone::Care,
            };
            (badge(tone, &t::unusable(reason))) " "
        }
    }
}

/// A ticket's status.
pub(crate) fn ticket_status(status: TicketStatus) -> Markup {
    let tone = match status {
        TicketStatus::Reconciled | TicketStatus::Released | TicketStatus::Allocated => Tone::Good,
        TicketStatus::Cancelled | TicketStatus::Voided | TicketStatus::Planned => Tone::Calm,
        TicketStatus::Weighing
        | TicketStatus::Making
        | TicketStatus::OnTest
        | TicketStatus::Adjusting
        | TicketStatus::Filling => Tone::Care,
        TicketStatus::Rejected => Tone::Bad,
    };
    badge(tone, status.words())
}

/// Something to be told, in a box.
pub(crate) fn notice(tone: Tone, body: &Markup) -> Markup {
    html! { div class={ "notice " (tone.class()) } { span.sign aria-hidden="true" { (tone.sign()) } div { (body) } } }
}

/// What is said when a list is empty.
pub(crate) fn nothing(words: &str) -> Markup {
    html! { p.nothing { (words) } }
}

/// A table, with room to scroll on a narrow screen; `caption` says what it is to those who cannot see where it stands.
pub(crate) fn table(caption: &str, head: &Markup, rows: &Markup) -> Markup {
    html! {
        div.scroll role="region" aria-label=(caption) tabindex="0" {
            table {
                caption.unseen { (caption) }
                thead { tr { (head) } }
                tbody { (rows) }
            }
        }
    }
}

/// A pair in a list of facts.
pub(crate) fn fact(name: &str, value: &Markup) -> Markup {
    html! { div { dt { (name) } dd { (value) } } }
}

/// The hidden fields every form that changes something carries.
pub(crate) fn form_keys(who: &Who, kept: &Kept, form: &str) -> Markup {
    let key = kept.of(form).and_then(|fields| fields.text(KEY_FIELD));
    let key = key.filter(|_| !kept.key_spent).unwrap_or_else(|| Uuid::now_v7().simple().to_string());
    html! {
        input type="hidden" name=(TOKEN_FIELD) value=(who.page_token);
        input type="hidden" name=(KEY_FIELD) value=(key);
    }
}

/// What was typed into a form that was not accepted, and why it was not.
#[derive(Debug, Default)]
pub(crate) struct Kept {
    form: &'static str,
    fields: Fields,
    /// By the name of a field.
    problems: Vec<(String, String)>,
    /// What the rules refuse, with what would help.
    refusals: Vec<(String, Option<&'static str>)>,
    status: Option<StatusCode>,
    key_spent: bool,
}

impl Kept {
    /// What the problems of a question leave to be shown beside it; nothing when there are none.
    ///
    /// # Errors
    /// None; the form is that of [`Kept::after`].
    pub fn question(form: &'static str, fields: &Fields, problems: Vec<Problem>) -> Result<Self, PageError> {
        if problems.is_empty() {
            return Ok(Self::default());
        }
        Self::after(form, fields.clone(), Error::Invalid(problems))
    }

    /// What an error leaves to be shown beside the form.
    ///
    /// # Errors
    /// An error that no other input would mend.
    pub fn after(form: &'static str, fields: Fields, error: Error) -> Result<Self, PageError> {
        let mut kept = Self { form, fields, ..Self::default() };
        match error {
            Error::Invalid(problems) => {
                kept.status = Some(StatusCode::UNPROCESSABLE_ENTITY);
                kept.problems =
                    problems.into_iter().map(|p| (field_of(&p.place), t::sentence(&p.message))).collect();
            }
            Error::Refused(refusals) => {
                kept.status = Some(StatusCode::CONFLICT);
                kept.refusals =
                    refusals.iter().map(|r| (t::sentence(&r.to_string()), Some(r.help()))).collect();
            }
            Error::RequestKeyReused(_) => {
                kept.status = Some(StatusCode::CONFLICT);
                kept.refusals = vec![(t::SENT_BEFORE.to_owned(), None)];
                kept.key_spent = true;
            }
            Error::Busy | Error::Unreachable => {
                kept.status = Some(StatusCode::SERVICE_UNAVAILABLE);
                kept.refusals = vec![(t::sentence(&error.to_string()), None)];
            }
            other => return Err(other.into()),
        }
        Ok(kept)
    }

    /// The status the page is answered with.
    pub fn status(&self) -> StatusCode {
        self.status.unwrap_or(StatusCode::OK)
    }

    fn of(&self, form: &str) -> Option<&Fields> {
        (self.form == form).then_some(&self.fields)
    }

    /// Whether this form was sent and not accepted.
    pub fn is(&self, form: &str) -> bool {
        self.form == form && self.status.is_some()
    }

    /// What a field is to show.
    pub fn value(&self, form: &str, name: &str, otherwise: &str) -> String {
        match self.of(form) {
            Some(fields) => fields.first(name).to_owned(),
            None => otherwise.to_owned(),
        }
    }

    /// What is wrong with a field.
    pub fn wrong(&self, form: &str, name: &str) -> Option<&str> {
        self.of(form)?;
        self.problems.iter().find(|(field, _)| field == name).map(|(_, message)| message.as_str())
    }

    /// What is wrong with its fields: their names, and why.
    pub fn problems(&self) -> impl Iterator<Item = (&str, &str)> {
        self.problems.iter().map(|(field, message)| (field.as_str(), message.as_str()))
    }

    /// Everything against what was sent, to stand above the form.
    pub fn notice(&self, form: &str) -> Markup {
        if !self.is(form) {
            return html! {};
        }
        html! {
            div.notice.bad role="alert" {
                span.sign aria-hidden="true" { "✕" }
                div {
                    p { strong { (t::NOTHING_CHANGED) } }
                    ul {
                        @for (field, message) in &self.problems {
                            li { a href={ "#" (form) "-" (field) } { (t::field_name(field)) } ": " (message) }
                        }
                        @for (message, help) in &self.refusals {
                            li { (message) @if let Some(help) = help { " " (help) } }
                        }
                    }
                }
            }
        }
    }
}

/// The field a place names: `weighings[0].checkedBy` is `checkedBy`.
fn field_of(place: &str) -> String {
    place.rsplit('.').next().unwrap_or(place).split('[').next().unwrap_or(place).to_owned()
}

/// One field of a form.
pub(crate) struct Field<'a> {
    /// The form it belongs to.
    pub form: &'a str,
    /// Its name.
    pub name: &'a str,
    /// What to enter.
    pub label: &'a str,
    /// What it holds to begin with.
    pub start: &'a str,
    /// `text`, `date` …
    pub kind: &'a str,
    /// Whether something must be entered.
    pub needed: bool,
    /// A word of help.
    pub hint: &'a str,
    /// A list of suggestions.
    pub list: &'a str,
    /// The keyboard a tablet shows: `decimal`, `numeric`, `text`.
    pub keys: &'a str,
    /// Whether the page begins here.
    pub focus: bool,
    /// Whether something must be entered at last, though not for every button of the form.
    pub wanted: bool,
}

impl<'a> Field<'a> {
    /// A text field.
    pub const fn text(form: &'a str, name: &'a str, label: &'a str) -> Self {
        Self {
            form,
            name,
            label,
            start: "",
            kind: "text",
            needed: false,
            hint: "",
            list: "",
            keys: "text",
            focus: false,
            wanted: false,
        }
    }

    /// A date.
    pub const fn date(form: &'a str, name: &'a str, label: &'a str) -> Self {
        let mut field = Self::text(form, name, label);
        field.kind = "date";
        field
    }

    /// An amount, typed with or without its unit.
    pub const fn amount(form: &'a str, name: &'a str, label: &'a str) -> Self {
        let mut field = Self::text(form, name, label);
        field.keys = "decimal";
        field
    }

    /// The same, to begin with a value.
    pub const fn start(mut self, start: &'a str) -> Self {
        self.start = start;
        self
    }

    /// The same, with a word of help.
    pub const fn hint(mut self, hint: &'a str) -> Self {
        self.hint = hint;
        self
    }

    /// The same, with suggestions.
    pub const fn list(mut self, list: &'a str) -> Self {
        self.list = list;
        self
    }

    /// The same, to be filled in.
    pub const fn needed(mut self) -> Self {
        self.needed = true;
        self
    }

    /// The same, to be filled in before the form is taken, but not for every button of it.
    pub const fn needed_by_rule(mut self) -> Self {
        self.wanted = true;
        self
    }

    /// The same, where the page begins.
    pub const fn focus(mut self, focus: bool) -> Self {
        self.focus = focus;
        self
    }

    /// The field, with what was typed and what is wrong with it.
    pub fn show(&self, kept: &Kept) -> Markup {
        let id = format!("{}-{}", self.form, self.name);
        let wrong = kept.wrong(self.form, self.name);
        let hint_id = format!("{id}-hint");
        let wrong_id = format!("{id}-wrong");
        let described = match (wrong.is_some(), self.hint.is_empty()) {
            (true, true) => Some(wrong_id.clone()),
            (true, false) => Some(format!("{wrong_id} {hint_id}")),
            (false, false) => Some(hint_id.clone()),
            (false, true) => None,
        };
        html! {
            div.field {
                label for=(id) { (self.label) @if !self.needed && !self.wanted { span.quiet { " " (t::OPTIONAL) } } }
                input id=(id) name=(self.name) type=(self.kind) value=(kept.value(self.form, self.name, self.start))
                    required[self.needed] autofocus[self.focus] autocomplete="off" spellcheck="false"
                    inputmode=[(self.kind == "text" && self.keys != "text").then_some(self.keys)]
                    list=[(!self.list.is_empty()).then_some(self.list)]
                    aria-invalid=[wrong.is_some().then_some("true")] aria-describedby=[described];
                @if let Some(wrong) = wrong { p.wrong id=(wrong_id) { span aria-hidden="true" { "✕ " } (wrong) } }
                @if !self.hint.is_empty() { p.hint id=(hint_id) { (self.hint) } }
            }
        }
    }
}

/// A choice out of a list; `options` are values with their words.
pub(crate) fn select(
    form: &str,
    name: &str,
    label: &str,
    chosen: &str,
    options: &[(String, String)],
) -> Markup {
    let id = format!("{form}-{name}");
    html! {
        div.field {
            label for=(id) { (label) }
            select id=(id) name=(name) {
                @for (value, words) in options {
                    option value=(value) selected[value == chosen] { (words) }
                }
            }
        }
    }
}

/// Suggestions for a field.
pub(crate) fn suggestions<'a>(id: &str, options: impl IntoIterator<Item = (&'a str, &'a str)>) -> Markup {
    html! {
        datalist id=(id) {
            @for (value, words) in options { option value=(value) { (words) } }
        }
    }
}

/// Something to open, shut to begin with unless said otherwise.
pub(crate) fn fold(summary: &str, open: bool, body: &Markup) -> Markup {
    html! { details.fold open[open] { summary { (summary) } div { (body) } } }
}
