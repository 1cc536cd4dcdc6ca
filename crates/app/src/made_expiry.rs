//! How long what a ticket makes lasts.

use chrono::NaiveDate;
use domain::{dates::Span, lots::made_expiry, tickets::Ticket};
use kernel::ids::LotId;
use store::WriteTx;

use crate::Error;

/// The expiry date of what a ticket makes: the end of the formula's shelf life, never beyond the expiry of a lot weighed into it whose
/// material bounds what is made with it.
pub(crate) async fn expiry_of(
    tx: &WriteTx,
    ticket: &Ticket,
    shelf_life: Option<Span>,
    made_on: NaiveDate,
) -> Result<Option<NaiveDate>, Error> {
    let weighed: Vec<LotId> =
        ticket.weighings.iter().filter(|w| w.reversed.is_none()).filter_map(|w| w.lot).collect();
    let lots = store::lots::lots_get(tx, &weighed).await?;
    let materials: Vec<_> = lots.iter().map(|lot| lot.material).collect();
    let rules = store::counts::stock_rules(tx, &materials).await?;
    let bounds = |lot: &domain::lots::Lot| {
        rules.iter().any(|rule| rule.bounds_expiry && rule.material == lot.material)
    };
    Ok(made_expiry(
        made_on,
        shelf_life,
        lots.iter().filter(|lot| bounds(lot)).filter_map(|lot| lot.expires_on),
    ))
}
