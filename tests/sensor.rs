use dioptric::oracle;
use dioptric::quantity::{Millimetre, Point};
use dioptric::sensor::{Centre, Geometry, SlopeSums, SpotPair};
#[test]
fn rays() {
    let mut lenses = csv::Reader::from_path("tests/data/raytrace/lenses.csv").unwrap();
    let headers = lenses.headers().unwrap().clone();
    for row in lenses.records() {
        let row = row.unwrap();
        let get = |name: &str| row.get(headers.iter().position(|h| h == name).unwrap()).unwrap().to_string();
        let num = |name: &str| get(name).parse::<f64>().unwrap_or(f64::NAN);
        let mut spots = csv::Reader::from_path(format!("tests/data/raytrace/{}", get("file"))).unwrap();
        let mut sums = SlopeSums::default();
        let mut raw = vec![];
        for s in spots.records() {
            let s = s.unwrap();
            let m: Vec<Millimetre> = s.iter().map(|t| t.parse().unwrap()).collect();
            let f: Vec<f64> = s.iter().map(|t| t.parse().unwrap()).collect();
            raw.push([f[0], f[1], f[2], f[3]]);
            sums.add(SpotPair { reference: Point::new(m[0], m[1]), spot: Point::new(m[2], m[3]) }).unwrap();
        }
        let mm = |x: f64| Millimetre::try_from_f64(x).unwrap();
        let g = Geometry::new(mm(num("gap_mm")), mm(num("throw_mm"))).unwrap();
        let fit = sums.fit(&g).unwrap();
        let o = oracle::fit(&raw, num("gap_mm"), num("throw_mm")).unwrap();
        let p = fit.power();
        let d = [
            p.xx.to_f64() - num("fit_xx"),
            p.xy.to_f64() - num("fit_xy"),
            p.yy.to_f64() - num("fit_yy"),
            fit.prism().x.to_f64() - num("fit_prism_x"),
            fit.prism().y.to_f64() - num("fit_prism_y"),
        ];
        let c = match fit.centre() {
            Centre::Point(c) => {
                format!("{:.2e} {:.2e}", c.x.to_f64() - num("fit_centre_x_mm"), c.y.to_f64() - num("fit_centre_y_mm"))
            }
            c => format!("{c:?}"),
        };
        println!(
            "{} {:.1e} {:.1e} {:.1e} | {:.1e} {:.1e} | {c} | res {:.4} {:.4} rot {:.2e} {:.2e} {:.2e} o {:.1e} {:.1e} {:?}",
            get("file"),
            d[0],
            d[1],
            d[2],
            d[3],
            d[4],
            fit.residual().to_f64(),
            num("fit_residual_um"),
            fit.rotation().to_f64().to_radians() * 1000.0 / num("throw_mm"),
            num("fit_rotation"),
            o.rotation,
            o.power.xx - num("fit_xx"),
            o.prism[0] - num("fit_prism_x"),
            fit.uncertainty()
        );
    }
}
