"""The address of a Dask scheduler: its form, its certificates, and whether one answers there.

Dask is imported only when a cluster is asked for.
"""

from __future__ import annotations

import ssl
from collections.abc import Iterator
from pkgutil import resolve_name
from typing import TYPE_CHECKING, Any

from telemetry.model.errors import WorkersError

if TYPE_CHECKING:
    from distributed.security import Security

# Older versions of Dask know others as well.
_PROTOCOLS = ("tcp", "tls", "ws", "wss")
_HINT = "what TLS needs is in: busbook guide cluster"


def security_of(address: str, patience_s: float) -> Security:
    """What Dask's configuration says of TLS, once a scheduler has answered with it.

    Parameters
    ----------
    address : str
    patience_s : float
        How long it may take to answer.

    Raises
    ------
    WorkersError
        Where no address has this form, certificates are missing or not taken, or nobody answers.
    """
    _check_form(address)
    security = _security(address)
    _check_answer(address, security, patience_s)
    return security


def no_answer(address: str, patience_s: float) -> WorkersError:
    """The error for an address where no scheduler answers."""
    return WorkersError(
        f"no Dask scheduler answers at '{address}' within {patience_s} s",
        hint="check the address, as in tcp://192.0.2.10:8786, and that it runs",
    )


def _check_form(address: str) -> None:
    """WorkersError where an address of this form leads to no scheduler of another process."""
    from distributed.comm.addressing import get_address_host_port

    named = "://" not in address or address.partition("://")[0].lower() in _PROTOCOLS
    try:
        host, port = get_address_host_port(address)
        usable = named and bool(host) and 0 < port < 65536 and host.isprintable()
        host.encode("idna")
    except ValueError:  # also of a host that no name server takes
        usable = False
    if not usable:
        raise WorkersError(
            f"'{address}' is no address of a Dask scheduler",
            hint="give protocol (tcp, tls, ws or wss), host and port, as in tcp://192.0.2.10:8786",
        )


def _security(address: str) -> Security:
    """What Dask's configuration says of TLS; WorkersError where it is not enough."""
    import dask
    from distributed.security import Security

    try:
        loader = dask.config.get("distributed.client.security-loader", None)
        security: Security = resolve_name(loader)({"address": address}) if loader else Security()
        context = security.get_connection_args("client")["ssl_context"]
    except Exception as error:  # of files, of values, of a loader that the user has written
        raise WorkersError(
            f"the certificates that Dask's configuration names cannot be used ({error})", hint=_HINT
        ) from error
    encrypted = _is_encrypted(address)
    if encrypted and context is None:
        raise WorkersError(
            f"'{address}' needs certificates, and Dask's configuration names none", hint=_HINT
        )
    if security.require_encryption and not encrypted:
        raise WorkersError(
            f"Dask's configuration wants encryption, and '{address}' has none",
            hint="give an address that begins with tls://",
        )
    return security


def _check_answer(address: str, security: Security, patience_s: float) -> None:
    """WorkersError where no scheduler answers."""
    import asyncio

    from distributed import rpc
    from distributed.comm.core import CommClosedError

    async def ask() -> dict[str, Any]:
        arguments = security.get_connection_args("client")
        async with rpc(address, timeout=patience_s, connection_args=arguments) as remote:
            told: dict[str, Any] = await remote.identity()
            return told

    try:
        told = asyncio.run(asyncio.wait_for(ask(), patience_s))
        if "workers" in told:
            return
    except Exception as error:  # of the system, of TLS, of a stranger who speaks otherwise
        # A certificate that is not taken ends the connection, seldom with the reason.
        closed = isinstance(error, CommClosedError) and _is_encrypted(address)
        if closed or any(isinstance(cause, ssl.SSLError) for cause in _causes(error)):
            raise WorkersError(
                f"the scheduler at '{address}' and this machine do not take each other's "
                "certificates, or it has none",
                hint=_HINT,
            ) from error
        raise no_answer(address, patience_s) from error
    raise WorkersError(
        f"at '{address}' answers no Dask scheduler but a {str(told.get('type')).lower()}",
        hint="give the address that the scheduler tells when it starts",
    )


def _is_encrypted(address: str) -> bool:
    from distributed.comm import parse_address

    return parse_address(address)[0] in ("tls", "wss")


def _causes(error: BaseException | None) -> Iterator[BaseException]:
    """An error and what led to it."""
    while error is not None:
        yield error
        error = error.__cause__ or error.__context__
