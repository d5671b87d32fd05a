//! A material's limits in `yard.toml`: each a number, or none by a named document.

use shared_types::{
    Code, LayToCure, LayToCureFrom, LayToCureLimit, NoneBy, Rate, RateModel, Refreezes, RefreezesLimit, Revision,
    ShelfLife, ShelfLifeLimit, StatedSeconds, TestedAt,
};

use super::{
    problems::{Problems, Spot},
    tables::{self, Table},
    words,
};

pub(crate) fn read(mut table: Table<'_>, problems: &mut Problems) -> Option<(Spot, Code, Revision)> {
    let code = table.need("code", problems, tables::code);
    let revision = table.need("revision", problems, tables::code);
    let name = table.need("name", problems, tables::name);
    let form = table.need("form", problems, tables::name);
    let storage_limit_millideg_c = table.may("storage_limit", problems, words::millideg_c);
    let valid_up_to_millideg_c = table.may("valid_up_to", problems, words::millideg_c);
    let shelf_life = shelf_life(&mut table, problems);
    let out_life_s = stated(&mut table, "out_life", problems);
    let tack_life_s = stated(&mut table, "tack_life", problems);
    let lay_to_cure = lay_to_cure(&mut table, problems);
    let refreezes = refreezes(&mut table, problems);
    let spot = table.spot().clone();
    table.no_others(problems);
    let body = Revision {
        revision: revision?,
        name: name?,
        form: form?,
        storage_limit_millideg_c,
        valid_up_to_millideg_c,
        shelf_life,
        out_life_s,
        tack_life_s,
        lay_to_cure,
        refreezes,
        rate: Rate { model: RateModel::DoorToDoor },
    };
    Some((spot, code?, body))
}

/// The limits that a material says nothing about, in words: an act that tests one can't be answered.
pub(crate) fn unstated(code: &Code, body: &Revision) -> Option<String> {
    let limits = [
        ("shelf_life", body.shelf_life.is_none()),
        ("out_life", body.out_life_s.is_none()),
        ("tack_life", body.tack_life_s.is_none()),
        ("lay_to_cure", body.lay_to_cure.is_none()),
        ("refreezes", body.refreezes.is_none()),
        ("storage_limit", body.storage_limit_millideg_c.is_none()),
        ("valid_up_to", body.valid_up_to_millideg_c.is_none()),
    ];
    let missing: Vec<_> = limits.iter().filter(|(_, missing)| *missing).map(|(name, _)| *name).collect();
    let say =
        format!("{code} states no {}: what nobody stated is not unlimited, and can't be answered", missing.join(", "));
    (!missing.is_empty()).then_some(say)
}

fn stated(table: &mut Table<'_>, name: &'static str, problems: &mut Problems) -> Option<StatedSeconds> {
    let value = table.get(name)?;
    if !value.is_table() {
        return value.read(name, problems, tables::seconds).map(StatedSeconds::Limit);
    }
    none_by(table.table(name, problems, "\"240 h\"")?, problems).map(StatedSeconds::None)
}

fn none_by(mut table: Table<'_>, problems: &mut Problems) -> Option<NoneBy> {
    let none_by = table.need("none_by", problems, tables::name);
    table.no_others(problems);
    Some(NoneBy { none_by: none_by? })
}

fn shelf_life(table: &mut Table<'_>, problems: &mut Problems) -> Option<ShelfLife> {
    let mut table = table.table("shelf_life", problems, "{ months = 12, tested_at = \"oven\" }")?;
    if table.get("none_by").is_some() {
        return none_by(table, problems).map(ShelfLife::None);
    }
    let months = table.need("months", problems, |text| match text.trim().parse::<u16>() {
        Ok(months @ 1..=600) => Ok(months),
        Ok(_) | Err(_) => Err(format!("\"{}\" is no number of months, 1 to 600", text.trim())),
    });
    let tested_at = table.may("tested_at", problems, |text| match text.trim() {
        "take_out" => Ok(TestedAt::TakeOut),
        "lay" => Ok(TestedAt::Lay),
        "oven" => Ok(TestedAt::Oven),
        other => Err(format!("\"{other}\" is none of take_out, lay, oven")),
    });
    table.no_others(problems);
    Some(ShelfLife::Limit(ShelfLifeLimit { months: months?, tested_at: tested_at.unwrap_or_default() }))
}

fn lay_to_cure(table: &mut Table<'_>, problems: &mut Problems) -> Option<LayToCure> {
    let mut table = table.table("lay_to_cure", problems, "{ limit = \"72 h\", from = \"first_ply\" }")?;
    if table.get("none_by").is_some() {
        return none_by(table, problems).map(LayToCure::None);
    }
    let limit_s = table.need("limit", problems, tables::seconds);
    let from = table.may("from", problems, |text| match text.trim() {
        "first_ply" => Ok(LayToCureFrom::FirstPly),
        "complete" => Ok(LayToCureFrom::Complete),
        other => Err(format!("\"{other}\" is neither first_ply nor complete")),
    });
    table.no_others(problems);
    Some(LayToCure::Limit(LayToCureLimit { limit_s: limit_s?, from: from.unwrap_or_default() }))
}

fn refreezes(table: &mut Table<'_>, problems: &mut Problems) -> Option<Refreezes> {
    let mut table = table.table("refreezes", problems, "{ allowed = 5 }")?;
    if table.get("none_by").is_some() {
        return none_by(table, problems).map(Refreezes::None);
    }
    let allowed = table.need("allowed", problems, tables::count);
    let after_s = table.may("after", problems, tables::seconds);
    table.no_others(problems);
    Some(Refreezes::Limit(RefreezesLimit { allowed: allowed?, after_s }))
}
