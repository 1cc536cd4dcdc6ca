//! Materials.

use domain::{
    materials::{Material, UseLevel},
    text::code_key,
};
use kernel::{Density, Percent, ids::MaterialId};

use crate::{
    StoreError,
    codes::{At, Word, to_json, to_text},
};

super::table! {
    /// Lists that are never queried (CAS numbers, hazard statements, groups) are JSON.
    material, "materials" {
        #[sea_orm(primary_key, auto_increment = false)]
        id: Uuid,
        code: String,
        code_key: String,
        name: String,
        kind: String,
        inci: Option<String>,
        cas: String,
        density: Option<i64>,
        active_matter: Option<i64>,
        use_level_from: Option<i64>,
        use_level_to: Option<i64>,
        use_level_kind: Option<String>,
        shelf_life: Option<String>,
        period_after_opening: Option<String>,
        minimum_remaining_life: Option<String>,
        inspection_time: Option<String>,
        signal_word: Option<String>,
        hazard_statements: String,
        caution_groups: String,
        incompatible_with: String,
        flash_point_celsius: Option<String>,
        safety_data_sheet: Option<String>,
        note: Option<String>,
    }
}

impl material::Model {
    pub(crate) fn of(m: &Material) -> Result<Self, StoreError> {
        Ok(Self {
            id: m.id.0,
            code: m.code.clone(),
            code_key: code_key(&m.code),
            name: m.name.clone(),
            kind: m.kind.column_word().to_owned(),
            inci: m.inci.clone(),
            cas: to_json("a list of CAS numbers", &m.cas)?,
            density: m.density.map(Density::nano),
            active_matter: m.active_matter.map(Percent::nano),
            use_level_from: m.use_level.and_then(|level| level.from).map(Percent::nano),
            use_level_to: m.use_level.and_then(|level| level.to).map(Percent::nano),
            use_level_kind: m.use_level.map(|level| level.kind.column_word().to_owned()),
            shelf_life: m.shelf_life.map(String::from),
            period_after_opening: m.period_after_opening.map(String::from),
            minimum_remaining_life: m.minimum_remaining_life.map(String::from),
            inspection_time: m.inspection_time.map(String::from),
            signal_word: m.signal_word.map(|word| word.column_word().to_owned()),
            hazard_statements: to_json("a list of hazard statements", &m.hazard_statements)?,
            caution_groups: to_json("a list of caution groups", &m.caution_groups)?,
            incompatible_with: to_json("a list of caution groups", &m.incompatible_with)?,
            flash_point_celsius: m.flash_point_celsius.map(to_text),
            safety_data_sheet: m.safety_data_sheet.clone(),
            note: m.note.clone(),
        })
    }

    pub(crate) fn into_material(self) -> Result<Material, StoreError> {
        let id = self.id;
        let at = At::new("materials", &id);
        let use_level = at.word_opt("use_level_kind", self.use_level_kind.as_deref())?.map(|kind| UseLevel {
            from: self.use_level_from.map(Percent::from_nano),
            to: self.use_level_to.map(Percent::from_nano),
            kind,
        });
        Ok(Material {
            id: MaterialId(id),
            kind: at.word("kind", &self.kind)?,
            cas: at.json("cas", &self.cas)?,
            density: self.density.map(Density::from_nano),
            active_matter: self.active_matter.map(Percent::from_nano),
            use_level,
            shelf_life: at.text_opt("shelf_life", self.shelf_life.as_deref())?,
            period_after_opening: at
                .text_opt("period_after_opening", self.period_after_opening.as_deref())?,
            minimum_remaining_life: at
                .text_opt("minimum_remaining_life", self.minimum_remaining_life.as_deref())?,
            inspection_time: at.text_opt("inspection_time", self.inspection_time.as_deref())?,
            signal_word: at.word_opt("signal_word", self.signal_word.as_deref())?,
            hazard_statements: at.json("hazard_statements", &self.hazard_statements)?,
            caution_groups: at.json("caution_groups", &self.caution_groups)?,
            incompatible_with: at.json("incompatible_with", &self.incompatible_with)?,
            flash_point_celsius: at
                .decimal_opt("flash_point_celsius", self.flash_point_celsius.as_deref())?,
            code: self.code,
            name: self.name,
            inci: self.inci,
            safety_data_sheet: self.safety_data_sheet,
            note: self.note,
        })
    }
}
