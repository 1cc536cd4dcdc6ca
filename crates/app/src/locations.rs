//! Places where lots stand. A house that has entered none may write what it likes; once it has, a lot goes to a place it knows.

use domain::{
    locations::Location,
    people::{Actor, Capability},
    text::code_key,
};
use store::WriteTx;

use crate::{App, Change, Error, change::Begun, fresh::Problems, require};

impl App {
    /// Enters a place, or writes the one of that code anew.
    ///
    /// # Errors
    /// [`Error::Invalid`].
    pub async fn location_put(&self, change: &Change<'_>, input: Location) -> Result<Location, Error> {
        let mut work = match self.begin(change, Capability::Administer, "location-put", &input).await? {
            Begun::Repeat(place) => return Ok(place),
            Begun::Fresh(work) => work,
        };
        let mut problems = Problems::default();
        let code = problems.take("code", domain::text::code("a location", &input.code));
        let name = problems.take("name", domain::text::name("a name", &input.name));
        let note = problems.note("note", input.note.as_deref());
        problems.none()?;
        let (Some(code), Some(name)) = (code, name) else {
            return Err(Error::internal("a location without problems lacks its code"));
        };
        let place = Location { code, name, note };
        let before = store::locations::location_by_code(&work.tx, &place.code).await?;
        store::locations::location_put(&work.tx, &place).await?;
        work.note("location", &place.code, before.as_ref(), &place, None)?;
        work.finish(place).await
    }

    /// All places, by code.
    ///
    /// # Errors
    /// [`Error::Forbidden`], or when the database cannot be read.
    pub async fn locations(&self, actor: &Actor) -> Result<Vec<Location>, Error> {
        require(actor, Capability::Look)?;
        Ok(store::locations::locations(self.store()).await?)
    }

    /// The code of a place as the house writes it.
    pub(crate) async fn location_settle(&self, tx: &WriteTx, at: &str, code: &str) -> Result<String, Error> {
        let known = store::locations::locations(tx).await?;
        if known.is_empty() {
            return Ok(code.to_owned());
        }
        known
            .iter()
            .find(|place| code_key(&place.code) == code_key(code))
            .map(|place| place.code.clone())
            .ok_or_else(|| {
                let codes: Vec<&str> = known.iter().map(|place| place.code.as_str()).take(20).collect();
                Error::invalid(at, format!("there is no location {code}; there are {}", codes.join(", ")))
            })
    }
}
