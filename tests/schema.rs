//! The schemas of the maps are kept in `docs/schema`, as the program prints them. With `SPELL=1` in the environment they
//! are written there, to be read before they are kept. That reader and schema agree is held in `tests/outside`.

use std::fs;
use std::path::Path;

#[test]
fn the_schemas_are_kept_as_they_are() {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("docs/schema");
    for kind in handspan::map::schemas() {
        let schema = handspan::map::schema(kind).expect("a schema");
        let text = format!("{}\n", serde_json::to_string_pretty(&schema).expect("JSON"));
        let path = folder.join(format!("{kind}.json"));
        if std::env::var_os("SPELL").is_some() {
            fs::create_dir_all(&folder).expect("a folder");
            fs::write(&path, &text).expect("written");
        }
        assert_eq!(
            fs::read_to_string(&path).ok(),
            Some(text),
            "docs/schema/{kind}.json: SPELL=1 cargo test --test schema"
        );
    }
}
