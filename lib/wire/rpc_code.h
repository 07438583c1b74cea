/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * The codes of refusals on the control socket.
 */
#ifndef WT_WIRE_RPC_CODE_H
#define WT_WIRE_RPC_CODE_H

/* JSON-RPC 2.0, section 5.1, and our own from -32000 down. */
enum wt_rpc_code {
	WT_RPC_NOT_JSON = -32700,
	WT_RPC_BAD_REQUEST = -32600,
	WT_RPC_NO_METHOD = -32601,
	WT_RPC_BAD_PARAM = -32602,
	WT_RPC_FAULT = -32603, /* of ours: out of memory */
	WT_RPC_REFUSED = -32000,
	WT_RPC_NOT_READY = -32001,
	WT_RPC_TRY_AGAIN = -32002,
	WT_RPC_NOT_ALLOWED = -32003
};

#endif /* WT_WIRE_RPC_CODE_H */
