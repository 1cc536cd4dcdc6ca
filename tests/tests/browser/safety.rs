//! What somebody ill-meaning would try: scripts in every text field, forms from another site, our pages in another's frame.

use std::{
    io::{Read as _, Write as _},
    net::TcpListener,
    thread,
};

use crate::{
    chromium::{Tab, quoted},
    fresh, to_look_at,
};

mod here {
    crate::in_browser!(
        no_text_that_was_typed_becomes_part_of_a_page,
        another_site_changes_nothing_by_our_forms,
        no_other_site_shows_our_pages_in_a_frame,
        nothing_comes_from_another_host,
    );
}

const EVIL: &str = "\"'><img src=x onerror=\"window.evil=1\"><script>window.evil=1</script>{{7*7}}";

/// Every text field of every form is filled with it and sent; then the pages that show what was typed are opened.
fn no_text_that_was_typed_becomes_part_of_a_page() {
    let demo = fresh();
    let mut tab = Tab::of(&demo.url);
    let pages = [
        "/receive",
        "/draft",
        "/settings",
        "/run-check",
        "/what-if",
        "/lots/L-2606-001",
        "/find",
        "/packs/HW-500",
        "/formulas/HW-01",
    ];
    for page in pages {
        tab.open(page);
        let forms = tab.js("document.querySelectorAll('form').length").as_u64().unwrap();
        for form in 0..forms {
            tab.open(page);
            let sent = tab.js(&format!(
                "(() => {{ const form = document.querySelectorAll('form')[{form}]; \
                 if ((form.getAttribute('action') ?? '').includes('sign-out')) return false; \
                 for (const f of form.querySelectorAll('input, textarea')) if (!['hidden', 'checkbox', 'radio', 'file'].includes(f.type)) {{ f.type = 'text'; f.value = {}; }} \
                 for (const d of form.querySelectorAll('details')) d.open = true; return true; }})()",
                quoted(EVIL)
            ));
            if sent == true {
                tab.leads(|tab| {
                    // Past what the browser itself checks, as any program would send it.
                    tab.js(&format!(
                        "HTMLFormElement.prototype.submit.call(document.querySelectorAll('form')[{form}])"
                    ));
                });
                assert_eq!(tab.js("window.evil ?? 0"), 0, "{page}, form {form}");
                assert_eq!(
                    tab.js("document.querySelectorAll('img[src=x]').length"),
                    0,
                    "{page}, form {form}"
                );
            }
        }
    }
    // What is kept: a formula with such a name, its lines and its remarks.
    tab.open("/draft");
    for (field, text) in [
        ("#draft-code", "<b>X</b>"),
        ("#draft-name", EVIL),
        ("#draft-makes", "<i>Y</i>"),
        ("#draft-note", EVIL),
    ] {
        tab.fill(field, text);
    }
    tab.fill("#line-0-phase", "<u>");
    tab.fill("#line-0-material", "WAT");
    tab.choose("#line-0-kind", "qs");
    tab.fill("#line-0-function", EVIL);
    tab.leads(|tab| tab.click("button[value=save]"));
    let kept = tab.at();
    for page in [kept.as_str(), "/formulas", "/", "/find?q=%3Cb%3E", "/shelf"] {
        tab.open(page);
        assert_eq!(tab.js("window.evil ?? 0"), 0, "{page}");
        assert_eq!(
            tab.js("document.querySelectorAll('img[src=x], main b, main i, main u').length"),
            0,
            "{page}"
        );
    }
    tab.open(&kept);
    assert!(tab.text().contains(EVIL), "it is shown as it was typed");
    tab.complaints()
        .iter()
        .for_each(|complaint| assert!(!complaint.contains("Content Security"), "{complaint}"));
}

/// A page at another address of this machine, served once for each request.
fn another_site(page: String) -> String {
    let listener = TcpListener::bind("127.0.0.1:0").unwrap();
    let address = listener.local_addr().unwrap();
    thread::spawn(move || {
        for stream in listener.incoming().take(8) {
            let Ok(mut stream) = stream else { return };
            let mut asked = [0; 4096];
            let _ = stream.read(&mut asked);
            let _ = write!(
                stream,
                "HTTP/1.1 200 OK\r\nContent-Type: text/html\r\nContent-Length: {}\r\nConnection: close\r\n\r\n{page}",
                page.len()
            );
        }
    });
    format!("http://{address}")
}

fn another_site_changes_nothing_by_our_forms() {
    let demo = fresh();
    let mut home = Tab::of(&demo.url);
    home.open("/shelf");
    let before = home.text_of("main");
    // Even with everything the form asks for but the token of the page; and with one that is made up.
    for token in ["", "<input name=page_token value=0000>"] {
        let page = format!(
            "<form method=post action='{}/receive'>{token}<input name=request_key value=k><input name=material value=SLES70>\
             <input name=quantity value=100><input name=receivedOn value=2026-11-25></form><p id=there>there</p>",
            demo.url
        );
        let mut evil = Tab::of(&another_site(page));
        evil.open("/");
        evil.leads(|tab| {
            tab.js("document.forms[0].submit()");
        });
        evil.says("did not come from this house");
    }
    home.reload();
    assert_eq!(home.text_of("main"), before);
}

fn no_other_site_shows_our_pages_in_a_frame() {
    let demo = to_look_at();
    let page = format!("<iframe src='{}/settings'></iframe>", demo.url);
    let mut evil = Tab::of(&another_site(page));
    evil.open("/");
    let complaints = evil.complaints();
    assert!(complaints.iter().any(|line| line.contains("frame") || line.contains("Frame")), "{complaints:?}");
}

fn nothing_comes_from_another_host() {
    let demo = to_look_at();
    let mut tab = Tab::of(&demo.url);
    for page in ["/", "/packs/HW-500", "/draft?formula=HW-01&version=3", "/tickets"] {
        tab.open(page);
        for request in tab.events("Network.requestWillBeSent") {
            let url = request["params"]["request"]["url"].as_str().unwrap().to_owned();
            assert!(url.starts_with(&demo.url) || url.starts_with("data:"), "{page} asks for {url}");
        }
        let inline = tab
            .js("document.querySelectorAll('[style], style, script:not([src]), [onclick], [onload]').length");
        assert_eq!(inline, 0, "{page}");
    }
}
