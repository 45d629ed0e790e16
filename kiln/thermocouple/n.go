package thermocouple

// tableN is type N, nickel-chromium-silicon against nickel-silicon. Its slope steps at 0 °C, from 26.159 to
// 25.929 µV/°C.
//
// Source: NIST Standard Reference Database 60, ITS-90 Thermocouple Database (functions of NIST
// Monograph 175, 1993), type N, digits as printed there. The last row of limits is reckoned from them.
var tableN = table{
	forward: []polynomial{ // °C to mV
		{low: -270, high: 0, of: []float64{
			0.000000000000e+00,
			0.261591059620e-01,
			0.109574842280e-04,
			-0.938411115540e-07,
			-0.464120397590e-10,
			-0.263033577160e-11,
			-0.226534380030e-13,
			-0.760893007910e-16,
			-0.934196678350e-19,
		}},
		{low: 0, high: 1300, of: []float64{
			0.000000000000e+00,
			0.259293946010e-01,
			0.157101418800e-04,
			0.438256272370e-07,
			-0.252611697940e-09,
			0.643118193390e-12,
			-0.100634715190e-14,
			0.997453389920e-18,
			-0.608632456070e-21,
			0.208492293390e-24,
			-0.306821961510e-28,
		}},
	},
	inverse: []polynomial{ // mV to °C
		{low: -3.99, high: 0, of: []float64{
			0.0000000e+00,
			3.8436847e+01,
			1.1010485e+00,
			5.2229312e+00,
			7.2060525e+00,
			5.8488586e+00,
			2.7754916e+00,
			7.7075166e-01,
			1.1582665e-01,
			7.3138868e-03,
		}},
		{low: 0, high: 20.613, of: []float64{
			0.00000e+00,
			3.86896e+01,
			-1.08267e+00,
			4.70205e-02,
			-2.12169e-06,
			-1.17272e-04,
			5.39280e-06,
			-7.98156e-08,
		}},
		{low: 20.613, high: 47.513, of: []float64{
			1.972485e+01,
			3.300943e+01,
			-3.915159e-01,
			9.855391e-03,
			-1.274371e-04,
			7.767022e-07,
		}},
	},
	least: -3.9903760792752, most: 47.512772180837736,
}
