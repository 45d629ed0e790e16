package thermocouple

// tableB is type B, platinum-30 % rhodium against platinum-6 % rhodium. The voltage falls at first (-0.002585
// mV at 21.02 °C) and is back at zero at 42.13 °C, so a small voltage names two temperatures. NIST gives no
// inverse below 0.291 mV, which is 250 °C.
//
// Source: NIST Standard Reference Database 60, ITS-90 Thermocouple Database (functions of NIST
// Monograph 175, 1993), type B, digits as printed there. The last row of limits is reckoned from them.
var tableB = table{
	forward: []polynomial{ // °C to mV
		{low: 0, high: 630.615, of: []float64{
			0.000000000000e+00,
			-0.246508183460e-03,
			0.590404211710e-05,
			-0.132579316360e-08,
			0.156682919010e-11,
			-0.169445292400e-14,
			0.629903470940e-18,
		}},
		{low: 630.615, high: 1820, of: []float64{
			-0.389381686210e+01,
			0.285717474700e-01,
			-0.848851047850e-04,
			0.157852801640e-06,
			-0.168353448640e-09,
			0.111097940130e-12,
			-0.445154310330e-16,
			0.989756408210e-20,
			-0.937913302890e-24,
		}},
	},
	inverse: []polynomial{ // mV to °C
		{low: 0.291, high: 2.431, of: []float64{
			9.8423321e+01,
			6.9971500e+02,
			-8.4765304e+02,
			1.0052644e+03,
			-8.3345952e+02,
			4.5508542e+02,
			-1.5523037e+02,
			2.9886750e+01,
			-2.4742860e+00,
		}},
		{low: 2.431, high: 13.82, of: []float64{
			2.1315071e+02,
			2.8510504e+02,
			-5.2742887e+01,
			9.9160804e+00,
			-1.2965303e+00,
			1.1195870e-01,
			-6.0625199e-03,
			1.8661696e-04,
			-2.4878585e-06,
		}},
	},
	least: 0.291, most: 13.820279215146009,
}
