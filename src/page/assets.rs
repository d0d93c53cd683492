//! The files of the page, inside the program.

use std::hash::{DefaultHasher, Hash, Hasher};

/// A file of the page.
#[derive(Debug, Clone, Copy)]
pub struct Asset {
    /// Its path at the stand, such as `/stand.css`.
    pub path: &'static str,
    /// What it is, as HTTP says it.
    pub kind: &'static str,
    /// What is in it.
    pub bytes: &'static [u8],
}

const HTML: &str = "text/html; charset=utf-8";
const CSS: &str = "text/css; charset=utf-8";
const SCRIPT: &str = "text/javascript; charset=utf-8";
const SVG: &str = "image/svg+xml";
const PNG: &str = "image/png";
const MANIFEST: &str = "application/manifest+json";

macro_rules! assets {
    ($($path:literal = $file:literal, $kind:expr;)*) => {
        &[$(Asset { path: $path, kind: $kind, bytes: include_bytes!(concat!("files/", $file)) }),*]
    };
}

/// All files of the page.
pub const ASSETS: &[Asset] = assets! {
    "/" = "index.html", HTML;
    "/stand.css" = "stand.css", CSS;
    "/main.js" = "main.js", SCRIPT;
    "/adjust.js" = "adjust.js", SCRIPT;
    "/beat.js" = "beat.js", SCRIPT;
    "/details.js" = "details.js", SCRIPT;
    "/draw.js" = "draw.js", SCRIPT;
    "/fit.js" = "fit.js", SCRIPT;
    "/horizon.js" = "horizon.js", SCRIPT;
    "/keychoice.js" = "keychoice.js", SCRIPT;
    "/keys.js" = "keys.js", SCRIPT;
    "/light.js" = "light.js", SCRIPT;
    "/link.js" = "link.js", SCRIPT;
    "/press.js" = "press.js", SCRIPT;
    "/scram.js" = "scram.js", SCRIPT;
    "/sound.js" = "sound.js", SCRIPT;
    "/spell.js" = "spell.js", SCRIPT;
    "/vendor/noble-hashes.js" = "vendor/noble-hashes.js", SCRIPT;
    "/icon.svg" = "icon.svg", SVG;
    "/icons/icon-180.png" = "icons/icon-180.png", PNG;
    "/icons/icon-512.png" = "icons/icon-512.png", PNG;
    "/manifest.webmanifest" = "manifest.webmanifest", MANIFEST;
};

impl Asset {
    /// The file at a path, if there is one.
    pub(super) fn at(path: &str) -> Option<&'static Asset> {
        ASSETS.iter().find(|asset| asset.path == path)
    }

    /// A mark that changes with the content.
    pub(super) fn mark(&self) -> String {
        let mut hasher = DefaultHasher::new();
        self.bytes.hash(&mut hasher);
        format!("\"{:016x}\"", hasher.finish())
    }
}
