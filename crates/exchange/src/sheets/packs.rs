//! Packs and what they are made of.

use app::import::{ComponentDraft, PackDraft, Unread};
use domain::{
    making::{FillingRun, LineSpeed},
    packs::ComponentPer,
    text::code_key,
};
use kernel::{Count, Dimension, Quantity, Unit};
use std::collections::HashMap;

use crate::{collected::Collected, kinds::SheetKind, problems::Problems, row::Row};

const PERS: &[(&str, ComponentPer)] = &[("unit", ComponentPer::Unit), ("case", ComponentPer::Case)];

pub(crate) fn read_pack(row: &mut Row<'_>, out: &mut Collected) {
    let code = row.code("pack");
    let code = row.must("pack", code);
    if let Some(code) = &code {
        out.once(SheetKind::Packs, row, "pack", code_key(code), "the same code");
    }
    let draft = pack(row, code.as_deref());
    match (draft, code) {
        (Some(draft), _) if !row.is_faulty() => out.packs.push(draft),
        (_, Some(code)) => {
            out.unread.packs.insert(code_key(&code));
        }
        _ => {}
    }
}

fn pack(row: &mut Row<'_>, code: Option<&str>) -> Option<PackDraft> {
    let name = row.name("name");
    let name = row.must("name", name);
    let formula = row.code("formula");
    let formula = row.must("formula", formula);
    let fill = row.quantity("fill", None);
    let fill = row.must("fill", fill);
    if fill.is_some_and(|fill| fill.dimension() == Dimension::Count) {
        row.fault("fill", "is a count, where a volume or a mass is needed");
    }
    let overfill = row.share("overfill").unwrap_or_default();
    let filling_loss = row.loss("filling loss");
    let units_per_case = row.whole("units per case");
    let line_labour = row.house_money("line labour");
    let run = filling_run(row, line_labour.is_some());
    let price = row.house_money("price");
    let units_a_year = row.whole("units a year");
    let note = row.note("note");
    Some(PackDraft {
        place: row.place.clone(),
        code: code?.to_owned(),
        name: name?,
        formula: formula?,
        fill: fill?,
        overfill,
        filling_loss,
        units_per_case,
        line_labour,
        run,
        price,
        units_a_year,
        note,
        components: None,
    })
}

/// How a pack is filled: what is kept back, how fast the line goes and at which rates, what a changeover costs.
fn filling_run(row: &mut Row<'_>, has_line_labour: bool) -> FillingRun {
    let units_kept_back = row.whole_or_nought("units kept back").unwrap_or_default();
    let changeover = row.house_money("changeover");
    let units_per_hour = row.count_above_nought("units per hour");
    let people = row.count_above_nought("people");
    let labour_rate = row.code("labour rate");
    let machine_rate = row.code("machine rate");
    if !row.has("units per hour") {
        for column in ["people", "labour rate", "machine rate"] {
            if row.has(column) {
                row.fault(column, "needs the units per hour beside it");
            }
        }
    } else if has_line_labour {
        row.fault("units per hour", "stands beside a line labour per unit; one of the two is needed");
    } else if !row.has("labour rate") && !row.has("machine rate") {
        row.fault("units per hour", "needs a labour rate or a machine rate beside it");
    } else if row.has("people") && !row.has("labour rate") {
        row.fault("people", "needs the labour rate beside it");
    }
    let speed = units_per_hour.map(|units_per_hour| LineSpeed {
        units_per_hour,
        people: people.unwrap_or(Count::from_thousandths(1_000)),
        labour_rate,
        machine_rate,
    });
    FillingRun { units_kept_back, speed, changeover }
}

pub(crate) fn read_component(row: &mut Row<'_>, out: &mut Collected) {
    if let Some((pack, draft)) = component(row, out)
        && !row.is_faulty()
    {
        out.components.push((pack, draft));
    }
}

fn component(row: &mut Row<'_>, out: &mut Collected) -> Option<(String, ComponentDraft)> {
    let pack = row.code("pack");
    let pack = row.must("pack", pack);
    let material = row.code("component");
    let material = row.must("component", material);
    let quantity = row.quantity("quantity", Some(Unit::Piece));
    let quantity = row.must("quantity", quantity).and_then(|quantity| match quantity {
        Quantity::Count(count) => Some(count),
        other => {
            row.fault("quantity", crate::row::wrong_dimension(other, Dimension::Count));
            None
        }
    });
    let per = row.one_of("per", PERS);
    let per = row.must("per", per);
    let loss = row.loss("loss");
    let (pack, material, per) = (pack?, material?, per?);
    let key = format!("{}\n{}\n{per:?}", code_key(&pack), code_key(&material));
    out.once(SheetKind::PackComponents, row, "component", key, "the same component of this pack");
    Some((pack, ComponentDraft { place: row.place.clone(), material, quantity: quantity?, per, loss }))
}

/// Gives each pack its components.
pub(crate) fn assemble(
    mut packs: Vec<PackDraft>,
    components: Option<Vec<(String, ComponentDraft)>>,
    unread: &Unread,
    problems: &mut Problems,
) -> Vec<PackDraft> {
    let Some(components) = components else { return packs };
    let at: HashMap<String, usize> =
        packs.iter().enumerate().map(|(at, pack)| (code_key(&pack.code), at)).collect();
    for pack in &mut packs {
        pack.components = Some(Vec::new());
    }
    for (code, component) in components {
        let Some(pack) = at.get(&code_key(&code)).and_then(|at| packs.get_mut(*at)) else {
            if !Unread::names(&unread.packs, &code) {
                let message = format!("no sheet of packs in this import has a pack {code}");
                problems.cell(&component.place, "pack", message);
            }
            continue;
        };
        if component.per == ComponentPer::Case && pack.units_per_case.is_none() {
            let message = format!("pack {code} does not say how many units go into a case");
            problems.cell(&component.place, "per", message);
        }
        pack.components.get_or_insert_default().push(component);
    }
    packs
}
