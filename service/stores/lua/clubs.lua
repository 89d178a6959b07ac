-- Clubs and their shelves. KEYS[1]: what all keys begin with. ARGV: the command, then what it takes.
--
-- club:NUMBER  hash: name, created, next (the last number on its shelf)
-- links:NUMBER hash, role to the hash of its link's key
-- link:HASH    hash: club, role
-- shelf:NUMBER hash: d:N data, a:N when it was added; on:NUMBER is the sorted set of the numbers

local P = KEYS[1]
local call = redis.call
local clock = call('TIME')
local now = tonumber(clock[1]) * 1000000 + tonumber(clock[2])

local function link(number, role, hash)
    local old = call('HGET', P .. 'links:' .. number, role)
    if old then
        call('DEL', P .. 'link:' .. old)
        call('HDEL', P .. 'links:' .. number, role)
    end
    if hash ~= '' then
        call('HSET', P .. 'link:' .. hash, 'club', number, 'role', role)
        call('HSET', P .. 'links:' .. number, role, hash)
    end
end

local function is_there(number)
    return call('EXISTS', P .. 'club:' .. number) == 1
end

local function line(number, item)
    local found = call('HMGET', P .. 'shelf:' .. number, 'd:' .. item, 'a:' .. item)
    return {item, found[1], found[2]}
end

local commands = {}

function commands.found(number, name, ...)
    if is_there(number) then
        return 0
    end
    call('HSET', P .. 'club:' .. number, 'created', now, 'name', name)
    local links = {...}
    for at = 1, #links, 2 do
        link(number, links[at], links[at + 1])
    end
    return 1
end

function commands.entered(hash)
    local found = call('HMGET', P .. 'link:' .. hash, 'club', 'role')
    if not found[1] then
        return {}
    end
    local club = call('HMGET', P .. 'club:' .. found[1], 'name', 'created')
    local said = {found[1], club[1], club[2], found[2]}
    for _, role in ipairs(call('HKEYS', P .. 'links:' .. found[1])) do
        said[#said + 1] = role
    end
    return said
end

function commands.rename(number, name)
    if is_there(number) then
        call('HSET', P .. 'club:' .. number, 'name', name)
    end
end

function commands.replace_link(number, role, hash)
    if is_there(number) then
        link(number, role, hash)
    end
end

function commands.remove(number)
    for _, hash in ipairs(call('HVALS', P .. 'links:' .. number)) do
        call('DEL', P .. 'link:' .. hash)
    end
    call(
        'DEL', P .. 'club:' .. number, P .. 'links:' .. number, P .. 'shelf:' .. number,
        P .. 'on:' .. number
    )
end

function commands.items(number)
    local lines = {}
    for at, item in ipairs(call('ZRANGE', P .. 'on:' .. number, 0, -1)) do
        lines[at] = line(number, item)
    end
    return lines
end

function commands.add(number, data, most)
    if not is_there(number) then
        return 0
    end
    if call('ZCARD', P .. 'on:' .. number) >= tonumber(most) then
        return {}
    end
    local item = call('HINCRBY', P .. 'club:' .. number, 'next', 1)
    call('HSET', P .. 'shelf:' .. number, 'd:' .. item, data, 'a:' .. item, now)
    call('ZADD', P .. 'on:' .. number, item, item)
    return line(number, item)
end

function commands.change(number, item, data)
    if not call('ZSCORE', P .. 'on:' .. number, item) then
        return 0
    end
    call('HSET', P .. 'shelf:' .. number, 'd:' .. item, data)
    return 1
end

function commands.take_off(number, item)
    call('HDEL', P .. 'shelf:' .. number, 'd:' .. item, 'a:' .. item)
    return call('ZREM', P .. 'on:' .. number, item)
end

return commands[ARGV[1]](unpack(ARGV, 2))
