//! Locations.

use domain::{locations::Location, text::code_key};

super::table! {
    /// Told apart by their code, letter case aside.
    location, "locations" {
        #[sea_orm(primary_key, auto_increment = false)]
        code_key: String,
        code: String,
        name: String,
        note: Option<String>,
    }
}

impl location::Model {
    pub(crate) fn of(l: &Location) -> Self {
        Self { code_key: code_key(&l.code), code: l.code.clone(), name: l.name.clone(), note: l.note.clone() }
    }

    pub(crate) fn into_location(self) -> Location {
        Location { code: self.code, name: self.name, note: self.note }
    }
}
