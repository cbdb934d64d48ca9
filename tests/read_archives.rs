#[path = "fixtures/read_archive.rs"]
mod read_archive;
use jogaudit::read::{ReadConfig, read};

#[test]
fn look() {
    for (name, ext) in [("fitparser", "fit"), ("gpx", "gpx"), ("tcx", "tcx")] {
        for f in read_archive::files(name, ext) {
            println!("{} {} {:?} {}", name, f.id, f.path.file_name().unwrap(), f.bytes.len());
            match read(&f.bytes, &ReadConfig::default()) {
                Err(e) => println!("    ERR {e}"),
                Ok(n) => {
                    for r in &n.value {
                        println!(
                            "    {:?} {} n={} laps={} timer={:?} off={:?} last={:?}",
                            r.sport,
                            r.start,
                            r.samples.len(),
                            r.laps.len(),
                            r.timer.len(),
                            r.utc_offset_s,
                            r.samples.last().unwrap()
                        );
                        for l in r.laps.iter().take(3) {
                            println!("       {l:?}");
                        }
                    }
                    for x in n.notices {
                        println!("    - {} {} {:?}", x.code, x.text, x.place.map(|p| p.to_string()));
                    }
                }
            }
        }
    }
}
