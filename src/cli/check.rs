//! `handspan check`.
use super::Failure;
pub(super) fn run(_set: &str, _json: bool) -> Result<(), Failure> {
    Err(Failure::Undone("not yet".into()))
}
