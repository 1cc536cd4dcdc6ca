//! `stillroom offers`: offers of several strengths by what their active matter costs.

use engine::{
    present::{AMOUNT_PLACES, PER_KG_PLACES, PERCENT_PLACES},
    swap::ActiveOffers,
};
use kernel::{Exact, ids::MaterialId};
use std::fmt::Write as _;

use crate::{
    cli::OffersArgs,
    commands::{subject::material, vary::figure},
    failure::{Failure, Outcome},
    house::{self, Layout},
    output,
    settings::Settings,
    table::{Side, Table},
};

/// Compares offers.
///
/// # Errors
/// [`Failure`].
pub async fn run(settings: &Settings, args: &OffersArgs) -> Result<Outcome, Failure> {
    let house = house::open(settings, Layout::MustBeThere).await?;
    let actor = house::actor();
    let catalogue = house.app.catalogue(&actor)?;
    let mut ids: Vec<MaterialId> = Vec::with_capacity(args.material.len());
    for code in &args.material {
        ids.push(material(&catalogue, "--material", code)?.id);
    }
    let costing = house.app.costing(&actor, catalogue, &[], &[]).await?;
    let on = args.on.unwrap_or_else(|| house.app.today());
    output::answer(settings.json, &costing.offers_per_active(&ids, args.active, on)?, text)?;
    Ok(Outcome::Done)
}

fn text(compared: &ActiveOffers) -> String {
    let currency = compared.currency;
    let mut text = format!("{} of active matter, offers as of {}\n", compared.active, compared.on);
    let (supplied, active) = (format!("{currency}/kg supplied"), format!("{currency}/kg active"));
    let order = format!("order, {currency}");
    let mut table = Table::new([
        ("offer", Side::Left),
        ("active", Side::Right),
        ("order", Side::Right),
        (order.as_str(), Side::Right),
        (supplied.as_str(), Side::Right),
        (active.as_str(), Side::Right),
        ("dearer by", Side::Right),
    ]);
    for offer in &compared.offers {
        let dearer =
            offer.dearer_by.as_ref().map(|share| figure(&(share * &Exact::whole(100)), PERCENT_PLACES));
        table.row([
            format!("{}: {} of {}", offer.material, offer.reference, offer.supplier_name),
            offer.strength.to_string(),
            format!("{} × {} for {} kg", offer.packs, offer.pack, figure(&offer.demanded, AMOUNT_PLACES)),
            figure(&offer.order_cost, currency.minor_places()),
            figure(&offer.per_kg, PER_KG_PLACES),
            figure(&offer.per_kg_active, PER_KG_PLACES),
            dearer.map_or_else(String::new, |dearer| format!("{dearer} %")),
        ]);
        table.beneath(offer.validity.to_string());
    }
    let _ = write!(text, "\n{table}");
    if !compared.not_compared.is_empty() {
        text.push_str("\nNot compared\n");
        for not in &compared.not_compared {
            let _ = writeln!(text, "  - {}: {}", not.material, not.gap);
        }
    }
    text
}
