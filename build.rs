//! Packs the built-in faces: each BDF file of `fonts/` as a zlib stream (RFC 1950) for the catalogue to include. As text they would be a
//! fifth of the program that goes onto a small board.

use std::path::Path;
use std::{env, fs, io};

/// The best that the packer can do; the files are small, and packed once a build.
const LEVEL: u8 = 10;

fn main() -> io::Result<()> {
    println!("cargo::rerun-if-changed=fonts");
    let variable = |name| env::var_os(name).ok_or_else(|| io::Error::other(format!("cargo sets {name}")));
    let (project, out) = (variable("CARGO_MANIFEST_DIR")?, variable("OUT_DIR")?);
    for entry in fs::read_dir(Path::new(&project).join("fonts"))? {
        let path = entry?.path();
        if let Some(name) = path.file_stem().filter(|_| path.extension().is_some_and(|extension| extension == "bdf")) {
            let packed = miniz_oxide::deflate::compress_to_vec_zlib(&fs::read(&path)?, LEVEL);
            fs::write(Path::new(&out).join(name).with_extension("z"), packed)?;
        }
    }
    Ok(())
}
