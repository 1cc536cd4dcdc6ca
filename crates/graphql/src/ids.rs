//! Global ids: opaque to clients, unique over all kinds of things (Relay, Global Object Identification).

use async_graphql::{ID, OneofObject};
use base64::{Engine as _, engine::general_purpose::URL_SAFE_NO_PAD};
use kernel::ids::{
    AuditId, CountId, FormulaId, FormulaVersionId, HouseRateId, LotId, MaterialId, MovementId, PackId,
    QuotationId, RateId, SupplierId, TicketId, WeighingId,
};
use uuid::Uuid;

/// An identity that has a global id.
pub(crate) trait Global: From<Uuid> + Copy {
    /// The name of its kind within global ids.
    const KIND: &'static str;
    /// What people call it.
    const WHAT: &'static str;
    /// The identity proper.
    fn uuid(self) -> Uuid;
}

macro_rules! global {
    ($($id:ident, $kind:literal, $what:literal;)*) => {$(
        impl Global for $id {
            const KIND: &'static str = $kind;
            const WHAT: &'static str = $what;

            fn uuid(self) -> Uuid {
                self.0
            }
        }
    )*};
}

global! {
    MaterialId, "Material", "material";
    SupplierId, "Supplier", "supplier";
    QuotationId, "Quotation", "quotation";
    RateId, "ExchangeRate", "exchange rate";
    HouseRateId, "HouseRate", "rate of the house";
    FormulaId, "Formula", "formula";
    FormulaVersionId, "FormulaVersion", "formula version";
    PackId, "Pack", "pack";
    LotId, "Lot", "lot";
    MovementId, "Movement", "movement";
    CountId, "Count", "count";
    TicketId, "Ticket", "ticket";
    WeighingId, "Weighing", "weighing";
    AuditId, "AuditEntry", "audit entry";
}

/// The global id of a thing.
pub(crate) fn global_id<T: Global>(id: T) -> ID {
    encode(T::KIND, id.uuid())
}

/// The global id of a thing whose kind is only known by name.
pub(crate) fn encode(kind: &str, id: Uuid) -> ID {
    ID(URL_SAFE_NO_PAD.encode(format!("{kind}:{id}")))
}

/// Kind and identity of a global id; `None` for anything else.
pub(crate) fn decode(id: &str) -> Option<(String, Uuid)> {
    let bytes = URL_SAFE_NO_PAD.decode(id.trim()).ok()?;
    let text = String::from_utf8(bytes).ok()?;
    let (kind, uuid) = text.split_once(':')?;
    // Hyphenated only, so that a thing has one global id.
    (uuid.len() == 36).then_some(())?;
    Some((kind.to_owned(), Uuid::try_parse(uuid).ok()?))
}

/// The identity in a global id that must be of this kind.
///
/// # Errors
/// [`app::Error::Invalid`] naming the place.
pub(crate) fn read<T: Global>(id: &ID, place: &str) -> Result<T, app::Error> {
    match decode(id) {
        Some((kind, uuid)) if kind == T::KIND => Ok(T::from(uuid)),
        Some((kind, _)) => {
            Err(app::Error::invalid(place, format!("this is the id of a {kind}, not of a {}", T::KIND)))
        }
        None => Err(app::Error::invalid(place, format!("this is not the id of a {}", T::WHAT))),
    }
}

/// Names one thing: by its global id, or by the house's code or number for it (letter case aside).
#[derive(OneofObject, Debug, Clone)]
pub enum Which {
    /// The thing's global `id`.
    Id(ID),
    /// The house's code (materials, suppliers, formulas, packs) or number (lots, tickets).
    Code(String),
}
