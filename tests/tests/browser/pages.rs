//! Every page at both sizes, light and dark: it opens, nothing goes wrong in it, nothing sticks out of it, it weighs little, and it
//! keeps to the accessibility rules.

use std::{env, fs, path::Path};

use crate::{
    axe,
    chromium::{Tab, quoted},
    to_look_at,
};

/// A tablet on its edge, and a desk.
const SIZES: [(&str, u32, u32); 2] = [("tablet", 834, 1112), ("desk", 1280, 900)];
/// Bytes that a page may bring over the line, style sheet and script included.
const WEIGHT_MAX: u64 = 200_000;
/// A folder to put pictures of every page into.
const PICTURES: &str = "STILLROOM_TEST_PICTURES";

mod here {
    crate::in_browser!(
        every_page_is_sound_on_a_tablet,
        every_page_is_sound_on_a_desk,
        every_page_is_reached_by_its_links,
        pages_say_the_same_without_a_script,
        what_is_not_there_and_what_went_wrong_are_pages_too,
    );
}

/// Pages that are always there, and some that the demo has.
fn addresses(tab: &mut Tab) -> Vec<(&'static str, String)> {
    let mut first = |page: &str, pattern: &str| {
        tab.open(page);
        let found = tab.js(&format!(
            "[...document.querySelectorAll('a')].map((a) => a.getAttribute('href')).find((h) => new RegExp({}).test(h)) ?? null",
            quoted(pattern)
        ));
        found.as_str().unwrap_or_else(|| panic!("{page} leads to no {pattern}")).to_owned()
    };
    let bench = first("/tickets", "^/tickets/[^/]+/bench$");
    let ticket = bench.trim_end_matches("/bench").to_owned();
    let lot = first("/shelf", "^/lots/[^/?]+$");
    vec![
        ("today", "/".into()),
        ("shelf", "/shelf".into()),
        ("material", "/materials/SLES70".into()),
        ("lot", lot),
        ("receive", "/receive".into()),
        ("formulas", "/formulas".into()),
        ("formula", "/formulas/HW-01?version=2".into()),
        ("compare", "/formulas/HW-01/compare?a=1&b=2".into()),
        ("new-formula", "/draft".into()),
        ("draft", "/draft?formula=HW-01&version=3".into()),
        ("packs", "/packs".into()),
        ("pack", "/packs/HW-500".into()),
        ("pack-with-gaps", "/packs/DS-750".into()),
        ("run-check", "/run-check?pack=HW-500&units=500".into()),
        ("tickets", "/tickets".into()),
        ("ticket", ticket),
        ("bench", bench),
        ("what-if", "/what-if".into()),
        ("what-if-answer", "/what-if?as_of=&kind=price-material&what=SLES70&by=%2B12+%25&day=".into()),
        ("settings", "/settings".into()),
        ("calendar", "/shelf/calendar".into()),
        ("suppliers", "/suppliers".into()),
        ("supplier", "/suppliers/ELB".into()),
        ("quotation", "/quotations?material=GLYC".into()),
        ("rates", "/rates".into()),
        ("import", "/import".into()),
        ("find", "/find?q=hand".into()),
    ]
}

fn every_page_is_sound_on_a_tablet() {
    sound(SIZES[0]);
}

fn every_page_is_sound_on_a_desk() {
    sound(SIZES[1]);
}

fn sound((name, width, height): (&str, u32, u32)) {
    let demo = to_look_at();
    let mut tab = Tab::of(&demo.url);
    tab.size(width, height);
    let pages = addresses(&mut tab);
    let pictures = env::var_os(PICTURES);
    let mut wrong = Vec::new();
    // Nothing kept from one page to the next: each is weighed as a first visit.
    tab.call("Network.setCacheDisabled", serde_json::json!({ "cacheDisabled": true }));
    for (page, address) in &pages {
        tab.complaints();
        tab.weight();
        tab.open(address);
        let title = tab.js("document.title");
        let mut say = |what: String| wrong.push(format!("{page} on the {name} ({title}): {what}"));
        tab.complaints().into_iter().for_each(&mut say);
        let weight = tab.weight();
        if weight > WEIGHT_MAX {
            say(format!("weighs {weight} bytes"));
        }
        if tab.js("document.documentElement.scrollWidth > innerWidth") == true {
            let widest = "[...document.querySelectorAll('main *')].filter((e) => e.getBoundingClientRect().right > innerWidth + 1 \
                          && !e.closest('.scroll, .sheet, .draft-figures')).slice(0, 3).map((e) => e.outerHTML.slice(0, 120)).join(' | ')";
            say(format!("is wider than its window: {}", tab.js(widest)));
        }
        for dark in [false, true] {
            tab.dark(dark);
            let light = if dark { "dark" } else { "light" };
            for line in axe::violations(&mut tab) {
                say(format!("{light}: {line}"));
            }
            if let Some(folder) = &pictures {
                fs::create_dir_all(folder).unwrap();
                tab.picture(&Path::new(folder).join(format!("{page}-{name}-{light}.png")));
            }
        }
        tab.dark(false);
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

/// From the first page along the ways of the house, by keyboard alone.
fn every_page_is_reached_by_its_links() {
    let demo = to_look_at();
    let mut tab = Tab::of(&demo.url);
    for way in ["/shelf", "/formulas", "/packs", "/run-check", "/tickets", "/what-if", "/settings"] {
        tab.open("/");
        tab.tab();
        assert_eq!(
            tab.js("document.activeElement.className"),
            "skip",
            "the first stop leads to the page itself"
        );
        tab.tab_to(&format!("nav a[href='{way}']"));
        tab.leads(Tab::enter);
        assert_eq!(tab.at(), way);
        assert_eq!(
            tab.text_of("nav [aria-current=page]"),
            tab.js(&format!("document.querySelector(\"nav a[href='{way}']\").innerText")).as_str().unwrap()
        );
        // The skip link really leads past the head.
        tab.focus(".skip");
        tab.enter();
        tab.until("document.activeElement.id === 'main'");
    }
}

fn pages_say_the_same_without_a_script() {
    let demo = to_look_at();
    let mut with = Tab::of(&demo.url);
    let mut without = Tab::of(&demo.url);
    without.scripts(false);
    for (page, address) in addresses(&mut with) {
        // A picker of dates and the like look the same; keys of forms are of the moment and not in the text.
        with.open(&address);
        without.open(&address);
        // Signs that take a sentence away are the script's to show; without it the field is cleared.
        let text = |tab: &mut Tab| {
            tab.text_of("main").replace(['✕', '\n'], " ").split_whitespace().collect::<Vec<_>>().join(" ")
        };
        assert_eq!(text(&mut with), text(&mut without), "{page}");
    }
}

fn what_is_not_there_and_what_went_wrong_are_pages_too() {
    let demo = to_look_at();
    let mut tab = Tab::of(&demo.url);
    for (address, says) in [
        ("/lots/NOPE", "There is no lot NOPE"),
        ("/formulas/NOPE", "There is no formula NOPE"),
        ("/draft?formula=HW-01&version=99", "There is no formula version 99"),
        ("/run-check?pack=NOPE&units=5", "NOPE"),
        ("/what-if?as_of=&kind=price-material&what=NOPE&by=%2B12+%25&day=", "NOPE"),
    ] {
        tab.open(address);
        tab.says(says);
        assert_eq!(axe::violations(&mut tab), Vec::<String>::new(), "{address}");
    }
}
