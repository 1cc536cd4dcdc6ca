//! The way of a ticket through the pages: checked, written, weighed, completed, traced. As a browser without a script does it.

use axum::http::StatusCode;
use domain::tickets::{Ticket, TicketStatus};
use kernel::{Exact, Mass};

use crate::browser::{Browser, Page};

struct Run {
    browser: Browser,
    ticket: String,
}

impl Run {
    /// A ticket for a small batch of the citric acid premix, written from a run check.
    async fn written() -> Self {
        let browser = Browser::with_demo().await;
        let check = browser.open("/run-check?pack=PM-CIT&batch=20+kg&on=2026-11-25").await;
        assert!(check.text.contains("Yes, it can be made"), "{}", check.text);
        let fields = [("pack", "PM-CIT"), ("units", ""), ("batch", "20 kg"), ("on", "2026-11-25")];
        let written = browser.submit(&check, "action=\"/tickets\"", "/tickets", &fields).await;
        let again = browser.submit(&check, "action=\"/tickets\"", "/tickets", &fields).await;
        assert_eq!(written.location(), again.location(), "sent twice, written once");
        Self { ticket: written.location().to_owned(), browser }
    }

    async fn state(&self) -> Ticket {
        let number = self.ticket.rsplit('/').next().unwrap();
        self.browser
            .app
            .ticket_by_number(self.browser.actor.as_ref().unwrap(), number)
            .await
            .unwrap()
            .unwrap()
    }

    async fn bench(&self) -> Page {
        self.browser.open(&format!("{}/bench", self.ticket)).await
    }

    async fn weigh(&self, page: &Page, fields: &[(&str, &str)]) -> Page {
        let at = format!("{}/weigh", self.ticket);
        let (line, unit) = (page.hidden(&at, "line"), page.hidden(&at, "unit"));
        let mut all = vec![("line", line.as_str()), ("unit", unit.as_str())];
        all.extend_from_slice(fields);
        self.browser.submit(page, &at, &at, &all).await
    }
}

#[tokio::test]
async fn a_weighing_sent_twice_happens_once() {
    let run = Run::written().await;
    let page = run.bench().await;
    // The first charge is water, drawn and without a lot: 49.5 % of 20 kg.
    assert!(page.text.contains("9.900"), "{}", page.text);
    let fields = [("amount", "9.9"), ("checkedBy", "Corwin Dowle")];
    let first = run.weigh(&page, &fields).await;
    let second = run.weigh(&page, &fields).await;
    assert_eq!(first.status, StatusCode::SEE_OTHER, "{}", first.text);
    assert_eq!(first.location(), second.location());
    assert!(first.location().contains("second=Corwin%20Dowle"), "the second person stays for the next");
    assert_eq!(run.state().await.weighings.len(), 1);
    // The same page sent with another weight: not taken, told, and the next form has a key of its own.
    let other = run.weigh(&page, &[("amount", "9.8")]).await;
    assert_eq!(other.status, StatusCode::CONFLICT);
    assert!(other.text.contains("entered before"));
    assert_ne!(other.hidden("/weigh", "request_key"), page.hidden("/weigh", "request_key"));
    assert_eq!(run.state().await.weighings.len(), 1);
}

#[tokio::test]
async fn a_ticket_is_weighed_completed_and_traced_without_a_script() {
    let run = Run::written().await;
    let page = run.browser.open(&run.ticket).await;
    let at = format!("{}/allocate", run.ticket);
    assert_eq!(run.browser.submit(&page, &at, &at, &[]).await.status, StatusCode::SEE_OTHER);

    let actor = run.browser.actor.clone().unwrap();
    for _ in 0..10 {
        let ticket = run.state().await;
        let Some(line) = ticket.lines.iter().find(|line| ticket.weighed_on(line.id) < line.target) else {
            break;
        };
        let page = run.bench().await;
        let promised: Vec<_> =
            ticket.allocations.iter().filter(|a| a.line == line.id && a.quantity.is_positive()).collect();
        let (lot, amount) = match promised.first() {
            None => (None, ticket.remaining_on(line)),
            Some(first) => {
                let lot = run.browser.app.lots_get(&actor, &[first.lot]).await.unwrap().remove(0);
                (Some(lot.number), Mass::from_micrograms(first.quantity.raw()))
            }
        };
        // What a scanner does without a script: the lot number and Enter. The lot is kept and the weight asked for.
        if let Some(lot) = &lot {
            let half = run.weigh(&page, &[("lot", lot), ("amount", ""), ("checkedBy", "")]).await;
            assert_eq!(half.status, StatusCode::UNPROCESSABLE_ENTITY);
            assert!(half.text.contains(&format!("value=\"{lot}\"")));
        }
        let amount = amount.to_string();
        let mut fields = vec![("amount", amount.as_str()), ("checkedBy", "Corwin Dowle")];
        fields.extend(lot.as_deref().map(|lot| ("lot", lot)));
        let done = run.weigh(&page, &fields).await;
        assert_eq!(done.status, StatusCode::SEE_OTHER, "{}", done.text);
    }
    assert!(run.bench().await.text.contains("Everything is weighed."));

    let page = run.browser.open(&run.ticket).await;
    let at = format!("{}/complete", run.ticket);
    let wrong = run.browser.submit(&page, &at, &at, &[("yieldMass", "much"), ("note", "pH 1.9")]).await;
    assert_eq!(wrong.status, StatusCode::UNPROCESSABLE_ENTITY);
    assert!(wrong.text.contains("value=\"much\"") && wrong.text.contains("value=\"pH 1.9\""));
    let fields = [("yieldMass", "19.6"), ("density", "1.241"), ("on", "2026-11-25"), ("note", "pH 1.9")];
    assert_eq!(run.browser.submit(&page, &at, &at, &fields).await.status, StatusCode::SEE_OTHER);

    let ticket = run.state().await;
    assert_eq!(ticket.status, TicketStatus::Reconciled);
    let made = run.browser.app.lots_get(&actor, &[ticket.completion.unwrap().lot]).await.unwrap().remove(0);
    let acid = ticket.weighings.iter().rev().find_map(|w| w.lot).unwrap();
    let acid = run.browser.app.lots_get(&actor, &[acid]).await.unwrap().remove(0);
    let back = run.browser.open(&format!("/lots/{}", made.number)).await.text;
    let back = &back[back.find("Where it came from").unwrap()..back.find("Where it went").unwrap()];
    assert!(back.contains(&acid.number), "{back}");
    let forward = run.browser.open(&format!("/lots/{}", acid.number)).await.text;
    let forward = &forward[forward.find("Where it went").unwrap()..];
    assert!(forward.contains(&made.number), "{forward}");
}

#[tokio::test]
async fn a_lot_of_another_material_and_too_much_are_refused_with_what_was_typed() {
    let run = Run::written().await;
    let at = format!("{}/bench?line=2", run.ticket);
    let page = run.browser.open(&at).await;
    let ticket = run.state().await;
    let line = ticket.line_at(2).unwrap();
    assert_eq!(line.target.to_exact(), Exact::whole(10));

    let other = run.weigh(&page, &[("lot", "L-2606-001"), ("amount", "10"), ("checkedBy", "")]).await;
    assert_eq!(other.status, StatusCode::CONFLICT, "{}", other.text);
    assert!(other.text.contains("value=\"L-2606-001\"") && other.text.contains("value=\"10\""));
    let unknown = run.weigh(&page, &[("lot", "NO-SUCH"), ("amount", "10")]).await;
    assert_eq!(unknown.status, StatusCode::UNPROCESSABLE_ENTITY);
    assert!(unknown.text.contains("There is no lot NO-SUCH"));

    let actor = run.browser.actor.clone().unwrap();
    let lots = run.browser.app.lots_of_materials(&actor, &[line.material]).await.unwrap();
    let lot = lots.iter().find(|lot| lot.free() > line.target.micrograms() * 2).unwrap();
    let too_much = run.weigh(&page, &[("lot", &lot.number), ("amount", "10.2")]).await;
    assert_eq!(too_much.status, StatusCode::CONFLICT);
    assert!(too_much.text.contains("give a reason to accept it"));
    assert!(run.state().await.weighings.is_empty());

    let right = run.weigh(&page, &[("lot", &lot.number), ("amount", "10010 g")]).await;
    assert_eq!(right.status, StatusCode::SEE_OTHER, "{}", right.text);
    let page = run.bench().await;
    let take_back = format!("{}/take-back", run.ticket);
    let weighing = page.hidden(&take_back, "weighing");
    let fields = [("weighing", weighing.as_str()), ("reason", "wrong scoop")];
    assert_eq!(
        run.browser.submit(&page, &take_back, &take_back, &fields).await.status,
        StatusCode::SEE_OTHER
    );
    let ticket = run.state().await;
    assert!(ticket.weighed_on(ticket.line_at(2).unwrap().id).is_zero());
    assert!(run.bench().await.text.contains("wrong scoop"));
}
