//! Materials.

use app::import::MaterialDraft;
use domain::{
    cautions::SignalWord,
    materials::{MaterialKind, UseLevel, UseLevelKind},
    text::code_key,
};

use crate::{collected::Collected, kinds::SheetKind, row::Row};

const KINDS: &[(&str, MaterialKind)] = &[
    ("raw material", MaterialKind::RawMaterial),
    ("packaging component", MaterialKind::PackagingComponent),
    ("intermediate", MaterialKind::Intermediate),
    ("bulk", MaterialKind::Bulk),
    ("utility", MaterialKind::Utility),
];

const USE_LEVEL_KINDS: &[(&str, UseLevelKind)] =
    &[("recommended", UseLevelKind::Recommended), ("legal", UseLevelKind::Legal)];

pub(crate) fn read(row: &mut Row<'_>, out: &mut Collected) {
    let code = row.code("code");
    let code = row.must("code", code);
    if let Some(code) = &code {
        out.once(SheetKind::Materials, row, "code", code_key(code), "the same code");
    }
    let draft = draft(row, code.as_deref());
    match (draft, code) {
        (Some(draft), _) if !row.is_faulty() => out.materials.push(draft),
        (_, Some(code)) => {
            out.unread.materials.insert(code_key(&code));
        }
        _ => {}
    }
}

fn draft(row: &mut Row<'_>, code: Option<&str>) -> Option<MaterialDraft> {
    let name = row.name("name");
    let name = row.must("name", name);
    let kind = row.one_of("kind", KINDS);
    let kind = row.must("kind", kind);
    let inci = row.name("INCI name");
    let cas = row.list("CAS number");
    let density = row.density("density");
    let active_matter = row.strength("active matter");
    let use_level = use_level(row);
    let shelf_life = row.span("shelf life");
    let period_after_opening = row.span("period after opening");
    let minimum_remaining_life = row.span("minimum remaining life");
    let inspection_time = row.span("inspection time");
    let signal_word = row.read("signal word", |text| text.parse::<SignalWord>().map_err(|e| e.to_string()));
    let hazard_statements = row.list("hazard statements");
    let incompatible_with = row.list("incompatible with");
    let caution_groups = row.list("caution group");
    let flash_point_celsius = row.celsius("flash point");
    let safety_data_sheet = row.name("safety data sheet");
    let note = row.note("note");
    Some(MaterialDraft {
        place: row.place.clone(),
        code: code?.to_owned(),
        name: name?,
        kind: kind?,
        inci,
        cas,
        density,
        active_matter,
        use_level,
        shelf_life,
        period_after_opening,
        minimum_remaining_life,
        inspection_time,
        signal_word,
        hazard_statements,
        caution_groups,
        incompatible_with,
        flash_point_celsius,
        safety_data_sheet,
        note,
    })
}

fn use_level(row: &mut Row<'_>) -> Option<UseLevel> {
    let (from, to) = use_level_bounds(row);
    let kind = row.one_of("use level kind", USE_LEVEL_KINDS).unwrap_or(UseLevelKind::Recommended);
    (from.is_some() || to.is_some()).then_some(UseLevel { from, to, kind })
}

/// The columns `use level from` and `use level to`, in order.
pub(crate) fn use_level_bounds(row: &mut Row<'_>) -> (Option<kernel::Percent>, Option<kernel::Percent>) {
    let from = row.share("use level from");
    let to = row.share("use level to");
    if let Some((from, to)) = from.zip(to).filter(|(from, to)| from > to) {
        row.fault("use level from", format!("{from} is above the {to} it goes to"));
    }
    (from, to)
}
