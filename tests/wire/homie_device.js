// SPDX-License-Identifier: GPL-3.0-or-later
// A Homie device, to be heard with mosquitto_sub.  Run by hand against a broker on a loopback port:
//     npm install homie-device@3.0.1 && node homie_device.js PORT
// What it published stands in check_publishers.py (HOMIE).
'use strict';
const HomieDevice = require('homie-device');

const device = new HomieDevice({
  name: 'loft',
  device_id: 'loft',
  mqtt: { host: '127.0.0.1', port: Number(process.argv[2]), base_topic: 'homie/', auth: false },
});
const node = device.node('climate', 'climate', 'climate');
node.advertise('temperature').setUnit('C').setDatatype('float');
node.advertise('humidity').setUnit('%').setDatatype('float');
device.on('connect', () => setTimeout(() => {
  node.setProperty('temperature').send('21.5');
  node.setProperty('humidity').send('63');
  setTimeout(() => process.exit(0), 500);
}, 300));
device.setup(true);
