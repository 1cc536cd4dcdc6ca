//! Why a row is hit, in sentences.

use super::CostHit;
use crate::{reach::Path, scenario::Edited, words::percent};

/// Why a formula or pack is hit: what is assumed of it, and each way a change reaches it.
pub(super) fn because(edited: &Edited, hit: &CostHit) -> Vec<String> {
    let of_version = edited.of_version.get(&hit.version).into_iter().flatten().cloned();
    let of_pack = hit.pack.and_then(|pack| edited.of_pack.get(&pack)).into_iter().flatten().cloned();
    of_version.chain(of_pack).chain(hit.paths.iter().map(way)).collect()
}

/// `12 % of it is SLES`, `0.02 % of it is XANT, by way of GUMPRE`.
fn way(path: &Path) -> String {
    let Some((touched, by_way_of)) = path.through.split_first() else { return String::new() };
    let mut said = match &path.share {
        Some(share) => format!("{} of it is {}", percent(share), touched.code),
        None => format!("{} is packed with it", touched.code),
    };
    if !by_way_of.is_empty() {
        let codes: Vec<&str> = by_way_of.iter().map(|material| material.code.as_str()).collect();
        said = format!("{said}, by way of {}", codes.join(" in "));
    }
    said
}
