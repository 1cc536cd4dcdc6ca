//! Suppliers.

use app::import::SupplierDraft;
use domain::text::code_key;

use crate::{collected::Collected, kinds::SheetKind, names::shown, row::Row};

/// ISO 3166-1 alpha-2, officially assigned codes.
const COUNTRIES: &str = "AD AE AF AG AI AL AM AO AQ AR AS AT AU AW AX AZ BA BB BD BE BF BG BH BI BJ BL BM BN BO BQ BR BS \
    BT BV BW BY BZ CA CC CD CF CG CH CI CK CL CM CN CO CR CU CV CW CX CY CZ DE DJ DK DM DO DZ EC EE EG EH ER ES ET FI \
    FJ FK FM FO FR GA GB GD GE GF GG GH GI GL GM GN GP GQ GR GS GT GU GW GY HK HM HN HR HT HU ID IE IL IM IN IO IQ IR \
    IS IT JE JM JO JP KE KG KH KI KM KN KP KR KW KY KZ LA LB LC LI LK LR LS LT LU LV LY MA MC MD ME MF MG MH MK ML MM \
    MN MO MP MQ MR MS MT MU MV MW MX MY MZ NA NC NE NF NG NI NL NO NP NR NU NZ OM PA PE PF PG PH PK PL PM PN PR PS PT \
    PW PY QA RE RO RS RU RW SA SB SC SD SE SG SH SI SJ SK SL SM SN SO SR SS ST SV SX SY SZ TC TD TF TG TH TJ TK TL TM \
    TN TO TR TT TV TW TZ UA UG UM US UY UZ VA VC VE VG VI VN VU WF WS YE YT ZA ZM ZW";

pub(crate) fn read(row: &mut Row<'_>, out: &mut Collected) {
    let code = row.code("code");
    let code = row.must("code", code);
    if let Some(code) = &code {
        out.once(SheetKind::Suppliers, row, "code", code_key(code), "the same code");
    }
    let draft = draft(row, code.as_deref());
    match (draft, code) {
        (Some(draft), _) if !row.is_faulty() => out.suppliers.push(draft),
        (_, Some(code)) => {
            out.unread.suppliers.insert(code_key(&code));
        }
        _ => {}
    }
}

fn draft(row: &mut Row<'_>, code: Option<&str>) -> Option<SupplierDraft> {
    let name = row.name("name");
    let name = row.must("name", name);
    let country = row.read("country", |text| {
        let country = text.to_ascii_uppercase();
        if COUNTRIES.split_ascii_whitespace().any(|c| c == country) {
            Ok(country)
        } else {
            Err(format!("“{}” is not an ISO 3166 two-letter country code", shown(text)))
        }
    });
    let currency = row.currency("currency");
    let currency = row.must("currency", currency);
    let lead_time = row.span("lead time");
    let note = row.note("note");
    Some(SupplierDraft {
        place: row.place.clone(),
        code: code?.to_owned(),
        name: name?,
        country,
        currency: currency?,
        lead_time,
        note,
    })
}

#[cfg(test)]
mod tests {
    /// ISO 3166-1 assigns 249 codes (from memory).
    #[test]
    fn countries() {
        let codes: std::collections::BTreeSet<&str> = super::COUNTRIES.split_ascii_whitespace().collect();
        assert_eq!(codes.len(), 249);
    }
}
