//! A ticket at the bench: scanned and weighed on a tablet, through reloads and dead lines, by two people at once; nothing is lost and
//! nothing is doubled.

use serde_json::Value;

use crate::{Demo, axe, chromium::Tab, fresh};

mod here {
    crate::in_browser!(
        a_scanner_types_fast_and_each_weighing_is_entered_once,
        a_reload_in_the_middle_of_a_weighing_keeps_what_was_typed,
        a_dead_line_keeps_the_weighing_and_sends_it_once,
        two_people_at_one_ticket_are_told_of_each_other,
        a_ticket_is_weighed_without_a_script,
        from_a_run_check_to_a_weighed_ticket,
    );
}

/// A ticket of the demo that can be weighed, and its bench.
fn bench(tab: &mut Tab) -> String {
    tab.open("/tickets");
    let found = tab
        .js("[...document.querySelectorAll('tr')].filter((r) => r.innerText.includes('allocated')) \
         .map((r) => r.querySelector('a[href$=\"/bench\"]')?.getAttribute('href')).find(Boolean) ?? null");
    found.as_str().expect("the demo has an allocated ticket").to_owned()
}

/// What the page asks for: the lot to take from, and the weight with its unit.
fn asked(tab: &mut Tab) -> (String, String) {
    let text = |value: Value| value.as_str().unwrap_or_default().to_owned();
    let lot = tab.js("document.querySelector('.promised a')?.innerText ?? document.querySelector('button[data-lot]')?.dataset.lot ?? ''");
    let weight = tab.js(
        "document.querySelector('.target-figure .figure').innerText.replace(/[^0-9.a-z]/g, '').replace(/(kg|g)$/, ' $1')",
    );
    (text(lot), text(weight))
}

/// Weighings that stand on the ticket.
fn entered(tab: &mut Tab) -> u64 {
    tab.js("document.querySelectorAll('.weighings > li').length").as_u64().unwrap()
}

fn needs_lot(tab: &mut Tab) -> bool {
    tab.js("!!document.querySelector('form.weigh [name=lot]')") == true
}

fn on_a_tablet(demo: &Demo) -> Tab {
    let mut tab = Tab::of(&demo.url);
    tab.size(834, 1112);
    tab
}

fn a_scanner_types_fast_and_each_weighing_is_entered_once() {
    let demo = fresh();
    let mut tab = on_a_tablet(&demo);
    let bench = bench(&mut tab);
    tab.open(&bench);
    let before = entered(&mut tab);
    let mut done = 0;
    for _ in 0..4 {
        if tab.js("!!document.querySelector('form.weigh')") != true {
            break;
        }
        let (lot, weight) = asked(&mut tab);
        // The page begins in the field that the scanner fills.
        if needs_lot(&mut tab) {
            assert_eq!(tab.js("document.activeElement.name"), "lot");
            tab.scan(&format!("{lot}\n"));
        }
        assert_eq!(
            tab.js("document.activeElement.name"),
            "amount",
            "Enter after the lot leads to the weight"
        );
        // Enter twice: a bouncing key.
        tab.leads(|tab| tab.scan(&format!("{weight}\n\n")));
        done += 1;
        assert_eq!(entered(&mut tab), before + done, "{}", tab.text());
    }
    assert!(done >= 2);
}

fn a_reload_in_the_middle_of_a_weighing_keeps_what_was_typed() {
    let demo = fresh();
    let mut tab = on_a_tablet(&demo);
    let bench = bench(&mut tab);
    tab.open(&bench);
    let before = entered(&mut tab);
    let (lot, weight) = asked(&mut tab);
    tab.fill("form.weigh [name=amount]", &weight);
    if needs_lot(&mut tab) {
        tab.fill("form.weigh [name=lot]", &lot);
    }
    tab.fill("form.weigh [name=checkedBy]", "Orla");
    tab.reload();
    assert_eq!(tab.js("document.querySelector('form.weigh [name=amount]').value"), weight.as_str());
    assert_eq!(tab.js("document.querySelector('form.weigh [name=checkedBy]').value"), "Orla");
    tab.leads(|tab| tab.click("form.weigh button[type=submit]"));
    assert_eq!(entered(&mut tab), before + 1);
    // What led here is a page to look at: loading it again sends nothing.
    tab.reload();
    assert_eq!(entered(&mut tab), before + 1);
    assert_eq!(
        tab.js("document.querySelector('form.weigh [name=amount]')?.value ?? ''"),
        "",
        "the next one begins empty"
    );
}

fn a_dead_line_keeps_the_weighing_and_sends_it_once() {
    let demo = fresh();
    let mut tab = on_a_tablet(&demo);
    let bench = bench(&mut tab);
    tab.open(&bench);
    let before = entered(&mut tab);
    let (lot, weight) = asked(&mut tab);
    if needs_lot(&mut tab) {
        tab.fill("form.weigh [name=lot]", &lot);
    }
    tab.fill("form.weigh [name=amount]", &weight);
    tab.line(false);
    tab.click("form.weigh button[type=submit]");
    tab.until("!document.getElementById('waiting').hidden");
    tab.says("Waiting to be sent");
    // Tapped again and again meanwhile: it waits once.
    tab.click("form.weigh button[type=submit]");
    assert_eq!(tab.js("document.querySelectorAll('#waiting li').length"), 1);
    tab.leads(|tab| tab.line(true));
    assert_eq!(entered(&mut tab), before + 1);
    assert_eq!(tab.js("document.getElementById('waiting').hidden"), true);
    assert_eq!(tab.js("localStorage.length"), 0, "nothing is left behind");
}

fn two_people_at_one_ticket_are_told_of_each_other() {
    let demo = fresh();
    let (mut one, mut other) = (on_a_tablet(&demo), on_a_tablet(&demo));
    let bench = bench(&mut one);
    for tab in [&mut one, &mut other] {
        tab.open(&bench);
    }
    let before = entered(&mut one);
    let (lot, weight) = asked(&mut one);
    for tab in [&mut one, &mut other] {
        if needs_lot(tab) {
            tab.fill("form.weigh [name=lot]", &lot);
        }
        tab.fill("form.weigh [name=amount]", &weight);
    }
    one.leads(|tab| tab.click("form.weigh button[type=submit]"));
    assert_eq!(entered(&mut one), before + 1);
    other.leads(|tab| tab.click("form.weigh button[type=submit]"));
    other.says("Nothing was changed");
    assert_eq!(entered(&mut other), before + 1, "the same amount is not weighed twice onto one line");
    assert_eq!(axe::violations(&mut other), Vec::<String>::new());
}

fn a_ticket_is_weighed_without_a_script() {
    let demo = fresh();
    let mut tab = on_a_tablet(&demo);
    let bench = bench(&mut tab);
    tab.scripts(false);
    tab.open(&bench);
    let before = entered(&mut tab);
    let (lot, weight) = asked(&mut tab);
    if needs_lot(&mut tab) {
        tab.fill("form.weigh [name=lot]", &lot);
    }
    tab.fill("form.weigh [name=amount]", &weight);
    tab.leads(Tab::enter);
    assert_eq!(entered(&mut tab), before + 1);
}

/// What a 500-unit run needs, and the ticket made from the answer.
fn from_a_run_check_to_a_weighed_ticket() {
    let demo = fresh();
    let mut tab = on_a_tablet(&demo);
    tab.open("/run-check");
    tab.fill("[name=pack]", "HW-500");
    tab.fill("[name=units]", "200");
    tab.leads(Tab::enter);
    tab.says("Yes, it can be made");
    let can = tab.js("!!document.querySelector('form[action=\"/tickets\"]')");
    assert_eq!(can, true, "{}", tab.text());
    tab.leads(|tab| tab.click("form[action='/tickets'] button[type=submit]"));
    assert!(tab.at().starts_with("/tickets/"), "{}", tab.at());
    tab.leads(|tab| tab.click("form[action$='/allocate'] button[type=submit]"));
    tab.leads(|tab| tab.click("a[href$='/bench']"));
    let (lot, weight) = asked(&mut tab);
    if needs_lot(&mut tab) {
        tab.fill("form.weigh [name=lot]", &lot);
    }
    tab.fill("form.weigh [name=amount]", &weight);
    tab.leads(|tab| tab.click("form.weigh button[type=submit]"));
    assert_eq!(entered(&mut tab), 1);
}
