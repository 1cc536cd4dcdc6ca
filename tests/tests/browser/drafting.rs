//! A formula written in the browser: figures that follow the typing, by keyboard alone, without a script, and two people at one draft.

use crate::{chromium::Tab, fresh};

mod here {
    crate::in_browser!(
        figures_follow_what_is_typed_and_nothing_is_written,
        a_formula_is_written_by_keyboard_alone,
        a_formula_is_written_without_a_script,
        two_people_at_one_draft_lose_nothing,
    );
}

fn figures_follow_what_is_typed_and_nothing_is_written() {
    let demo = fresh();
    let mut tab = Tab::of(&demo.url);
    tab.open("/draft?formula=HW-01&version=3");
    let before = tab.text_of("#draft-summary");
    let dose =
        tab.js("[...document.querySelectorAll('[name=material]')].findIndex((m) => m.value === 'DECGLU')");
    tab.fill(&format!("#line-{dose}-amount"), "18");
    tab.until(&format!(
        "document.querySelector('#draft-summary').innerText !== {}",
        serde_json::json!(before)
    ));
    assert_eq!(
        tab.js("document.activeElement.id"),
        format!("line-{dose}-amount"),
        "the cursor stays where it is"
    );
    // Past the total: q.s. has nothing left, and ways to put it right are offered.
    tab.fill(&format!("#line-{dose}-amount"), "95");
    tab.says("misses its total");
    tab.says("Rescale all lines");
    tab.fill(&format!("#line-{dose}-amount"), "a lot");
    tab.until("document.querySelector('#figures [role=status]').innerText.includes('cannot be worked out')");
    // Lines are moved without the page being loaded anew, and the focus goes along.
    tab.js("window.sameHere = true");
    tab.click("button[value=down-0]");
    tab.until("document.querySelector('#line-1-material').value === 'WAT'");
    assert_eq!(tab.js("window.sameHere"), true);
    assert_eq!(tab.js("document.activeElement.value"), "down-1");
    tab.click("button[value=add]");
    tab.until("document.activeElement.name === 'material' && document.activeElement.value === ''");
    // A dead line is told, and what was typed stays.
    tab.line(false);
    tab.write("GLYC");
    tab.until("document.querySelector('#figures .stale').hidden === false");
    assert_eq!(tab.js("document.activeElement.value"), "GLYC");
    tab.line(true);
    tab.open("/draft?formula=HW-01&version=3");
    assert_eq!(tab.text_of("#draft-summary"), before, "nothing was written");
}

/// By Tab, Enter and letters only.
fn a_formula_is_written_by_keyboard_alone() {
    let demo = fresh();
    let mut tab = Tab::of(&demo.url);
    tab.open("/formulas");
    tab.tab_to("a[href='/draft']");
    tab.leads(Tab::enter);
    assert_eq!(tab.js("document.activeElement.name"), "code", "it begins where typing begins");
    tab.scan("KB-01");
    for text in ["Hand gel", "BK-KB"] {
        tab.tab();
        tab.scan(text);
    }
    tab.tab_to("#line-0-material");
    tab.scan("WAT");
    tab.tab_to("#line-0-kind");
    tab.scan("q");
    tab.tab_to("#line-1-material");
    tab.scan("GLYC");
    tab.tab();
    tab.scan("5");
    tab.until("document.querySelector('#draft-summary').innerText.includes('makes its total')");
    // Enter in a field works it out; it neither saves nor takes a line out.
    tab.enter();
    assert_eq!(tab.at(), "/draft");
    tab.js("document.activeElement.blur()");
    tab.js("document.querySelector('#main').focus()");
    tab.tab_to("button[value=save]");
    tab.leads(Tab::enter);
    assert_eq!(tab.at(), "/formulas/KB-01?version=1");
    tab.says("Hand gel");
}

fn a_formula_is_written_without_a_script() {
    let demo = fresh();
    let mut tab = Tab::of(&demo.url);
    tab.scripts(false);
    tab.open("/draft");
    for (field, text) in [("#draft-code", "NS-01"), ("#draft-name", "Plain gel"), ("#draft-makes", "BK-NS")] {
        tab.fill(field, text);
    }
    tab.fill("#line-0-material", "WAT");
    tab.js("document.querySelector('#line-0-kind').value = 'qs'");
    tab.fill("#line-1-material", "Glycerin, vegetable, 99.5 %");
    tab.fill("#line-1-amount", "5");
    tab.leads(|tab| tab.click("button[value='remove-3']"));
    assert_eq!(tab.js("document.querySelectorAll('.draft-lines li').length"), 3);
    tab.leads(|tab| tab.click("button[value=work-out]"));
    tab.says("makes its total");
    tab.leads(|tab| tab.click("button[value=save]"));
    assert_eq!(tab.at(), "/formulas/NS-01?version=1");
}

fn two_people_at_one_draft_lose_nothing() {
    let demo = fresh();
    let (mut one, mut other) = (Tab::of(&demo.url), Tab::of(&demo.url));
    for tab in [&mut one, &mut other] {
        tab.open("/draft?formula=HW-01&version=3");
    }
    one.fill("#line-1-amount", "0.31");
    one.leads(|tab| tab.click("button[value=save]"));
    other.fill("#line-1-amount", "0.29");
    other.leads(|tab| tab.click("button[value=save]"));
    other.says("Somebody else changed this draft");
    other.says("0.31");
    assert_eq!(other.js("document.querySelector('#line-1-amount').value"), "0.29");
    assert_eq!(crate::axe::violations(&mut other), Vec::<String>::new());
    other.leads(|tab| tab.click("button[value=new]"));
    assert_eq!(other.at(), "/formulas/HW-01?version=4");
}
